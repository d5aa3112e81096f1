"""What decoding noticed about a file reaches the result of its photograph."""

from dataclasses import replace

from tests.fixtures_results import measured, refused_photo
from vision.assemble import with_file_flags
from vision.results import Flag

_EDITED = Flag("maybe_edited", "The picture was probably cropped.", "Send the file as the camera saved it.")


def test_the_flag_of_a_file_stands_first_in_its_photograph_and_in_no_other() -> None:
    outcome = measured()
    told = with_file_flags(outcome, [(_EDITED,), (), ()])
    assert told.photos[0].flags == (_EDITED, *outcome.photos[0].flags)
    assert [photo.flags for photo in told.photos[1:]] == [photo.flags for photo in outcome.photos[1:]]
    assert replace(told, photos=outcome.photos).bass.relief_mm == outcome.bass.relief_mm


def test_a_photograph_left_out_keeps_its_own_reason_alone() -> None:
    outcome = replace(measured(), photos=(*measured().photos[:1], refused_photo("two.jpg"), refused_photo("three.jpg")))
    assert with_file_flags(outcome, [(), (_EDITED,), ()]).photos == outcome.photos
