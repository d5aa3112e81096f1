"""The money: repairs with their costs, the sum behind the offer, and the answer with what tipped it.

It begins on a page of its own, so that the pages before it can be shown alone.
"""

from fpdf import FPDF

from app.decision.chance import CalledRepair
from app.decision.rules import RULES
from app.decision.verdict import Verdict
from app.palette import ACCENT, rgb
from app.report.content import Content
from app.report.density import Density
from app.report.plain_text import plain
from app.report.sheet import (
    BODY,
    MARGIN_MM,
    SMALL,
    TAG,
    WIDTH_MM,
    Paragraph,
    Style,
    heading,
    height_of,
    keep_room,
    write,
)
from app.report.table import Column, draw_table
from app.wording import in_unit, money

REPAIR_COLUMNS = (
    Column("repair", 51.0, bold=True),
    Column("called for by", 57.0),
    Column("chance", 15.0, "right"),
    Column("low", 17.0, "right"),
    Column("high", 17.0, "right"),
    Column("cost is", 19.0),
)
_FIGURE = Style(13.0, 5.8, 0.4, bold=True)
_NOTABLE = 0.005  # of chance; less is no row


def write_decision(pdf: FPDF, content: Content, density: Density) -> None:
    """The answer first, then its reasons and sums, then the repairs it rests on."""
    heading(pdf, "The decision")
    verdict = content.verdict
    letters = density.text_letters
    if verdict is None:
        write(pdf, Paragraph("No sum is made: what the guitar is worth in good order has not been stated."))
    else:
        _write_answer(pdf, content, verdict, letters)
        _write_sums(pdf, content, verdict)
        _write_reasons(pdf, content, verdict, density)
    if content.index != content.decided_index and content.decided_index is not None:
        label = plain(content.inspection.sightings[content.decided_index].label, 60)
        write(pdf, Paragraph(f"The decision rests on the set of photographs named “{label}”, not the one shown.", BODY))
    _write_repairs(pdf, content, density)


def _write_answer(pdf: FPDF, content: Content, verdict: Verdict, letters: int) -> None:
    block = (
        Paragraph("ANSWER", TAG),
        Paragraph(verdict.answer.capitalize(), _FIGURE),
        Paragraph(plain(in_unit(verdict.text, content.unit), letters)),
    )
    tall = height_of(pdf, block, WIDTH_MM - 4.0)
    keep_room(pdf, tall + 2.0)
    top = pdf.get_y()
    for paragraph in block:
        write(pdf, paragraph, MARGIN_MM + 4.0, WIDTH_MM - 4.0)
    with pdf.local_context(fill_color=rgb(ACCENT)):
        pdf.rect(MARGIN_MM, top, 1.1, tall, style="F")
    pdf.set_y(pdf.get_y() + 1.0)


def _write_sums(pdf: FPDF, content: Content, verdict: Verdict) -> None:
    """The offer as a sum anyone can redo, and the range of what the repairs may come to."""
    chance, offer = verdict.chances, verdict.offer
    currency = plain(verdict.currency, 12)
    asking = content.inspection.guitar.asking_price
    rows = [
        ("Worth in good order, as stated", money(offer.good_value, currency), ""),
        ("less the buyer's margin", money(offer.margin, currency), "for time, trouble and what nobody looked at"),
        (
            "less a careful repair cost",
            money(offer.cautious_cost, currency),
            f"likely {money(chance.cost_median, '')}, with 90 % between {money(chance.cost_low, '')} and "
            f"{money(chance.cost_high, currency)}",
        ),
        (
            "Highest price worth offering",
            money(offer.highest, currency),
            f"{money(offer.highest_if_checked, currency)} if all that was not looked at is fine",
        ),
        ("Asking price", money(asking, currency) if asking is not None else "not named", ""),
    ]
    columns = (Column("", 58.0, bold=True), Column("", 34.0, "right", bold=True), Column("", 84.0))
    draw_table(pdf, columns, rows)
    pdf.set_y(pdf.get_y() + 1.6)


def _write_reasons(pdf: FPDF, content: Content, verdict: Verdict, density: Density) -> None:
    letters = min(density.text_letters, 200)
    rows = [
        (
            plain(in_unit(reason.text, content.unit), letters),
            "" if reason.money is None else money(reason.money, plain(verdict.currency, 12)),
        )
        for reason in verdict.reasons[: density.reasons]
    ]
    if rows:
        pdf.set_y(pdf.get_y() + 1.0)
        draw_table(pdf, (Column("what tips it", 136.0), Column("lowers the offer by", 40.0, "right", bold=True)), rows)
    off = [rule.title for rule in RULES if rule.on and content.inspection.rules.get(rule.id, rule.on) is False]
    if off:
        write(pdf, Paragraph(f"Rules that end a deal, switched off by the user: {', '.join(off)}.", SMALL))


def _write_repairs(pdf: FPDF, content: Content, density: Density) -> None:
    heading(pdf, "Repairs that the findings call for")
    called = [item for item in content.chances.repairs if item.seen and item.probability >= _NOTABLE]
    unseen = [item for item in content.chances.repairs if not item.seen and item.probability >= _NOTABLE]
    shown = called[: density.repairs]
    currency = plain(content.prices.currency, 12)
    if shown:
        draw_table(pdf, REPAIR_COLUMNS, [_repair_row(item, content, density) for item in shown])
    else:
        write(pdf, Paragraph("Nothing that was found calls for a repair."))
    left = len(called) - len(shown)
    words = [
        f"Costs in {currency}, parts included." if currency else "",
        "“Example” costs are this program's, not quotes; ask a repairer near you.",
        "Of repairs that do each other's work only the dearest counts.",
        f"{left} more of smaller weight are not shown." if left else "",
        f"{len(unseen)} other repairs have a small chance only because nobody looked." if unseen else "",
        f"The chance that the neck needs more than a turn of the rod: {100 * content.chances.more_than_rod:.0f} %.",
    ]
    pdf.set_y(pdf.get_y() + 1.0)
    write(pdf, Paragraph(" ".join(word for word in words if word), SMALL))


def _repair_row(item: CalledRepair, content: Content, density: Density) -> tuple[str, ...]:
    repair = item.repair
    edited = repair.id in content.inspection.costs
    return (
        plain(repair.name, min(70, density.text_letters // 4)) or "A repair without a name",
        plain("; ".join(item.why), min(120, density.text_letters)),
        f"{100 * item.probability:.0f} %",
        money(repair.low_cost, ""),
        money(repair.high_cost, ""),
        "the user's" if edited else "example",
    )
