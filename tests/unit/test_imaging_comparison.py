"""Registration, copies, search and refusals on drawings whose truth is known."""

from __future__ import annotations

import io

import cv2
import numpy as np
import pytest
from PIL import Image
from tests.unit.drawn_stone import Drawing, draw, rotated

from samestone.imaging import compare_cleaning, compare_photos, open_photo, read_photo
from samestone.imaging.album import Descriptor, describe_photo, rank_photos
from samestone.imaging.photo import BadPhoto, Photo
from samestone.imaging.registration import register
from samestone.imaging.study import Study


def saved(photo: Photo, quality: int = 80, size: float = 1.0, turn: int = 0, mirror: bool = False) -> Photo:
    image = Image.fromarray(photo.pixels)
    if size != 1.0:
        image = image.resize((round(image.width * size), round(image.height * size)), Image.Resampling.LANCZOS)
    if turn:
        image = image.rotate(turn, Image.Resampling.BICUBIC)
    if mirror:
        image = image.transpose(Image.Transpose.FLIP_LEFT_RIGHT)
    out = io.BytesIO()
    image.save(out, "JPEG", quality=quality)
    return open_photo(out.getvalue())


@pytest.fixture(scope="module")
def drawing() -> Drawing:
    return draw(11)


@pytest.mark.parametrize("degrees", [0.7, 61.3, 200.0, 333.3])
def test_a_turn_is_found_counter_clockwise(drawing: Drawing, degrees: float) -> None:
    found = register(Study(drawing.photo).pattern, Study(rotated(drawing, degrees)).pattern)
    assert abs((found.rotation_deg - degrees + 180) % 360 - 180) < 0.02
    assert found.margin > 0.5


def test_the_turn_back_is_the_opposite(drawing: Drawing) -> None:
    a, b = (Study(photo).pattern for photo in (drawing.photo, rotated(drawing, 77.0)))
    there, back = register(a, b).rotation_deg, register(b, a).rotation_deg
    assert abs((there + back + 180) % 360 - 180) < 0.02


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({}, "saved again"),
        ({"quality": 40}, "saved again"),
        ({"size": 0.75}, "saved again"),
        ({"turn": 37, "quality": 90}, "turned and saved again"),
        ({"mirror": True}, "mirrored"),
    ],
)
def test_a_copy_proves_nothing(drawing: Drawing, change: dict[str, float], words: str) -> None:
    found = compare_photos(drawing.photo, saved(drawing.photo, **change))  # type: ignore[arg-type]
    assert not found.usable
    assert words in found.reason
    assert found.inclusion_scores == {}


def test_the_same_file_twice_is_said_so(drawing: Drawing) -> None:
    assert "same file" in compare_photos(drawing.photo, drawing.photo).reason


def test_two_pictures_of_one_drawing_are_comparable_and_alike(drawing: Drawing) -> None:
    same = compare_photos(drawing.photo, rotated(drawing, 20.0))
    other = compare_photos(drawing.photo, draw(12).photo)
    assert same.usable
    assert same.rotation_known
    assert same.facet_scores["patches"] > other.facet_scores["patches"] + 0.3
    a, b = same.aligned()
    assert a.shape == b.shape == (560, 560, 3)
    middle = np.s_[130:430, 130:430]
    assert np.abs(a[middle].astype(float) - b[middle]).mean() < 8


def test_a_blurred_picture_counts_neither_way(drawing: Drawing) -> None:
    blurred = draw(11, blur=8).photo
    found = compare_photos(drawing.photo, blurred)
    assert not found.usable
    assert found.reason.startswith("Picture B: The picture is blurred.")
    assert read_photo(blurred).characteristics == ()


def test_cleaning_refuses_what_cannot_be_laid_on_each_other(drawing: Drawing) -> None:
    black = Photo(np.zeros((400, 400), np.uint8), "black", "PNG")
    assert "No stone" in compare_cleaning(drawing.photo, black).reason
    assert compare_cleaning(drawing.photo, drawing.photo).features == ()


def test_an_unknown_protocol_is_refused(drawing: Drawing) -> None:
    with pytest.raises(ValueError, match="expected one of guided, free"):
        compare_photos(drawing.photo, drawing.photo, "careful")


def test_colour_and_brightness_do_not_matter(drawing: Drawing) -> None:
    warm = np.dstack([np.clip(drawing.grey * share, 0, 255) for share in (0.9, 0.75, 0.5)]).astype(np.uint8)
    found = register(Study(drawing.photo).pattern, Study(Photo(warm, "warm", "PNG")).pattern)
    assert abs((found.rotation_deg + 180) % 360 - 180) < 0.03
    assert found.likeness > 0.9


def test_sixteen_bits_read_like_eight(drawing: Drawing) -> None:
    deep = Photo(drawing.grey.astype(np.uint16) * 257, "deep", "PNG")
    a, b = Study(drawing.photo).stone, Study(deep).stone
    assert np.allclose(a.centre_px, b.centre_px, atol=0.01)
    assert abs(a.diameter_max_px - b.diameter_max_px) < 0.02


def test_a_search_finds_the_turned_stone_first() -> None:
    stones = [draw(seed, side=420, radius=170) for seed in range(20, 26)]
    stored = [Descriptor.from_bytes(describe_photo(stone.photo).to_bytes()) for stone in stones]
    ranked = rank_photos(describe_photo(rotated(stones[3], 100.0)), stored)
    assert ranked[0][0] == 3
    assert ranked[0][1] > ranked[1][1] + 0.05


def test_a_search_with_an_unusable_picture_is_refused() -> None:
    with pytest.raises(BadPhoto, match="No stone"):
        describe_photo(Photo(np.zeros((300, 300), np.uint8), "", "PNG"))
    with pytest.raises(ValueError, match="expected"):
        Descriptor.from_bytes(b"short")


def test_a_larger_picture_gives_the_same_turn(drawing: Drawing) -> None:
    large = cv2.resize(rotated(drawing, 45.5).pixels, None, fx=2.5, fy=2.5, interpolation=cv2.INTER_CUBIC)
    found = register(Study(drawing.photo).pattern, Study(Photo(large, "large", "PNG")).pattern)
    assert abs((found.rotation_deg - 45.5 + 180) % 360 - 180) < 0.03
