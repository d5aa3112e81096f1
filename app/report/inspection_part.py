"""The rest of the inspection: faults and doubts in full, what is fine in short, what nobody looked at counted."""

from collections.abc import Sequence

from fpdf import FPDF

from app.check_figures import figure_lines
from app.inspection.check import Check, CheckResult
from app.inspection.checks import CHECKS, check_by_id
from app.inspection.play_test import NoteCause
from app.report.columns import write_columns
from app.report.content import Content
from app.report.density import Density
from app.report.photo_part import draw_rows
from app.report.pictures import Picture
from app.report.plain_text import plain, sentence
from app.report.sheet import BOLD, SMALL, TAG, Block, Paragraph, heading
from app.wording import in_unit

PHOTO_MM = 34.0


def write_inspection(pdf: FPDF, content: Content, pictures: Sequence[Picture], density: Density) -> None:
    """Findings by eye, ear and meter, grouped; then the play test and the evidence of origin."""
    looked_at = [check for check in CHECKS if content.checks[check.id].state != "not checked"]
    heading(pdf, f"The rest of the inspection: {len(looked_at)} of {len(CHECKS)} things looked at")
    blocks: list[Block] = []
    for state in ("fault", "look closer", "fine"):
        of_state = [check for check in looked_at if content.checks[check.id].state == state]
        if not of_state:
            continue
        if state == "fine":
            told = density.checks == "in full"
            blocks += _fine_blocks(of_state, content, density) if told else [_listed("FINE", of_state)]
        elif density.checks == "in a line":
            blocks += _line_blocks(state.upper(), of_state, content, density)
        else:
            blocks += [_check_block(check, content, density) for check in of_state]
    unseen = [check for check in CHECKS if content.checks[check.id].state == "not checked"]
    if unseen:
        blocks.append(_listed(f"NOT CHECKED: {len(unseen)}, SO NOT KNOWN", unseen))
    blocks += _play_blocks(content, density)
    blocks += _evidence_blocks(content, density)
    write_columns(pdf, blocks)
    if pictures:
        draw_rows(pdf, pictures[: density.check_photos], PHOTO_MM, density.text_letters // 4)


def _check_block(check: Check, content: Content, density: Density) -> Block:
    result = content.checks[check.id]
    meaning = check.fault if result.state == "fault" else check.look_closer
    note = plain(result.note, density.note_letters)
    told = [sentence(meaning), f"Noted: {sentence(note)}" if note else "", _readings(check, result)]
    reckoned = " ".join(figure_lines(check.id, content.inspection))
    return (
        Paragraph(result.state.upper(), TAG),
        Paragraph(check.title, BOLD),
        Paragraph(" ".join(each for each in told if each)),
        Paragraph(plain(reckoned, density.text_letters), SMALL),
    )


def _evidence_blocks(content: Content, density: Density) -> list[Block]:
    """Origin and later change, each with what would settle it; the latter left out where room is short."""
    told = [f"{weight.claim.capitalize()}: what was seen {weight.words}." for weight in content.evidence]
    if density.checks == "in a line":
        return [(Paragraph("EVIDENCE, NOT PROOF", TAG), *(Paragraph(text, SMALL) for text in told))] if told else []
    return [
        (
            Paragraph("EVIDENCE, NOT PROOF", TAG),
            Paragraph(text),
            Paragraph(f"What would settle it: {weight.settles}", SMALL),
        )
        for text, weight in zip(told, content.evidence, strict=True)
    ]


def _line_blocks(tag: str, checks: Sequence[Check], content: Content, density: Density) -> list[Block]:
    """The checks with the beginning of what was noted, under one heading."""
    blocks: list[Block] = []
    for check in checks:
        text = sentence(f"{check.title}: {plain(content.checks[check.id].note, density.note_letters)}".rstrip(": "))
        blocks.append((Paragraph(text, SMALL),) if blocks else (Paragraph(tag, TAG), Paragraph(text, SMALL)))
    return blocks


def _fine_blocks(checks: Sequence[Check], content: Content, density: Density) -> list[Block]:
    """One block a check, under one heading: its title with what was found so, noted and read."""
    blocks: list[Block] = []
    for check in checks:
        result = content.checks[check.id]
        note = plain(result.note, density.note_letters)
        told = [check.title + ".", sentence(check.fine), f"Noted: {sentence(note)}" if note else ""]
        told += [_readings(check, result), *figure_lines(check.id, content.inspection)]
        text = plain(" ".join(each for each in told if each), density.note_letters + 200)
        blocks.append((Paragraph(text),) if blocks else (Paragraph("FINE", TAG), Paragraph(text)))
    return blocks


def _readings(check: Check, result: CheckResult) -> str:
    parts = [
        f"{reading.label}: {value:g} {reading.unit}".strip()
        for reading in check.readings
        if (value := result.number(reading.id)) is not None
    ]
    parts += [f"{choice.label}: {word}" for choice in check.choices if (word := result.word(choice.id)) is not None]
    return f"Read: {'; '.join(parts)}." if parts else ""


def _listed(tag: str, checks: Sequence[Check]) -> Block:
    titles = ", ".join(check.title.lower() for check in checks)
    return (Paragraph(tag, TAG), Paragraph(sentence(titles)))


def _play_blocks(content: Content, density: Density) -> list[Block]:
    """How the notes rang, and for each bad one the measured cause that fits."""
    notes = content.notes
    if not notes:
        return []
    bad = {place: sound for place, sound in notes.items() if sound != "fine"}
    counted = f"{len(notes)} notes played, {len(bad)} of them not clean."
    causes = content.causes
    lines = [Paragraph(plain(f"{_place(c)}: {in_unit(c.text, content.unit)}", 220)) for c in causes[: density.causes]]
    if len(causes) > len(lines):
        lines.append(Paragraph(f"And {len(causes) - len(lines)} more.", SMALL))
    if bad and not causes:
        first = ", ".join(f"string {s}, fret {f} ({sound})" for (s, f), sound in sorted(bad.items())[:6])
        lines.append(Paragraph(sentence(first + (" and more" if len(bad) > 6 else ""))))
    return [(Paragraph("PLAY TEST", TAG), Paragraph(counted, BOLD), *lines)]


def _place(cause: NoteCause) -> str:
    return f"String {cause.string}, fret {cause.fret}, {cause.sound}"


def check_photo_titles(content: Content) -> list[tuple[str, str]]:
    """Key in the record and title of each finding that has a photograph, faults first."""
    order = ("fault", "look closer", "fine", "not checked")
    known = {check.id for check in CHECKS}
    found = [
        (key, result.state)
        for key, result in content.inspection.checks.items()
        if result.photo is not None and key in known
    ]
    found.sort(key=lambda item: order.index(item[1]))
    return [(key, f"{check_by_id(key).title}: {state}") for key, state in found]
