"""The measurement's document as `app.contract` writes it, checked before a page relies on one from a file.

Known fields must have their types and one entry a fret; further fields are kept as they are.
"""

from typing import Annotated, Any, Literal, NotRequired

from pydantic import ConfigDict, Field, TypeAdapter, ValidationError, with_config
from typing_extensions import TypedDict

from app.contract_reading import outcome_from_contract
from app.record.checked import first_error
from app.record.plain_json import check_plain
from vision.settings import FRETS_MAX, FRETS_MIN

_OPEN = ConfigDict(strict=True, extra="allow", allow_inf_nan=False)
_Text = Annotated[str, Field(max_length=4000)]
_Number = float | None
_PerFret = Annotated[list[_Number], Field(max_length=FRETS_MAX)]
_Points = Annotated[list[Annotated[list[float], Field(min_length=2, max_length=2)] | None], Field(max_length=FRETS_MAX)]


@with_config(_OPEN)
class _Side(TypedDict):
    relief_mm: float
    relief_u_mm: float
    relief_at_fret: int
    gap_mm: _PerFret
    gap_u_mm: _PerFret
    deviation_mm: _PerFret
    deviation_u_mm: _PerFret


@with_config(_OPEN)
class _Tops(TypedDict):
    bass: _Points
    treble: _Points


@with_config(_OPEN)
class _Camera(TypedDict):
    focal_px: _Number
    view_angle_deg: _Number


@with_config(_OPEN)
class _Flag(TypedDict):
    code: _Text
    text: _Text
    advice: _Text


@with_config(_OPEN)
class _Photo(TypedDict):
    file: _Text
    kind: Literal["bass", "treble", "front"] | None
    status: Literal["measured", "refused"]
    reason: _Text | None
    advice: _Text | None
    flags: list[_Text]
    flag_details: list[_Flag]
    fret_top_px: _Tops
    camera: _Camera | None


@with_config(_OPEN)
class _Finding(TypedDict):
    code: _Text
    title: _Text
    text: _Text
    severity: _Text
    side: _Text | None
    frets: list[int]
    value: _Number
    u: _Number
    unit: _Text | None


@with_config(_OPEN)
class _Rod(TypedDict):
    direction: _Text
    text: _Text
    reasons: list[_Text]
    caution: _Text


@with_config(_OPEN)
class _Common(TypedDict):
    scale_length_mm: float
    frets: Annotated[int, Field(ge=FRETS_MIN, le=FRETS_MAX)]
    photos: Annotated[list[_Photo], Field(max_length=100)]
    flags: list[_Flag]
    version: _Text


@with_config(_OPEN)
class _Measured(_Common):
    status: Literal["measured"]
    bass: _Side
    treble: _Side
    relief_difference_mm: float
    relief_difference_u_mm: float
    twist_deg: float
    twist_u_deg: float
    roll_deg: _PerFret
    roll_u_deg: _PerFret
    shape: _Text
    findings: list[_Finding]
    truss_rod: _Rod
    provenance: dict[str, Any]
    thresholds: dict[str, float]


@with_config(_OPEN)
class _Refused(_Common):
    status: Literal["refused"]
    reason: _Text
    code: _Text
    advice: _Text
    findings: NotRequired[list[_Finding]]


_ADAPTER: TypeAdapter[_Measured | _Refused] = TypeAdapter(
    Annotated[_Measured | _Refused, Field(discriminator="status")]
)


def checked_contract(contract: dict[str, Any]) -> dict[str, Any]:
    """The document unchanged. Raises ValueError naming the first field that a measurement would not have so."""
    check_plain(contract)
    try:
        _ADAPTER.validate_python(contract)
    except ValidationError as error:
        raise ValueError(f"the measurement's field {first_error(error)}") from None
    _check_lengths(contract)
    outcome_from_contract(contract)  # the parts that only the drawings and the words read
    return contract


def _check_lengths(contract: dict[str, Any]) -> None:
    frets = contract["frets"]
    lists: dict[str, list[Any]] = {}
    if contract["status"] == "measured":
        for side in ("bass", "treble"):
            lists |= {f"{side}.{k}": v for k, v in contract[side].items() if k.endswith("_mm") and isinstance(v, list)}
        lists |= {key: contract[key] for key in ("roll_deg", "roll_u_deg")}
    for index, photo in enumerate(contract["photos"]):
        lists |= {f"photos.{index}.fret_top_px.{side}": photo["fret_top_px"][side] for side in ("bass", "treble")}
    for name, values in lists.items():
        if len(values) != frets:
            raise ValueError(f"the measurement's field {name} has {len(values)} entries for {frets} frets")
