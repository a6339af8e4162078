"""What the world does to a packet: every single byte flipped, the end missing at every length."""

from __future__ import annotations

import random

from tests.packets import worked_example

from samestone.custody import packet


def is_noticed(data: bytes) -> bool:
    try:
        return not all(check.holds for check in packet.verify_packet(packet.read_packet(data)))
    except packet.BadPacket:
        return True


def small_packet() -> bytes:
    """The page inside is long and is covered by one digest: a short one in its place keeps this test to the point."""
    from tests.packets import cabinet

    return cabinet.signed_again(cabinet.good_files() | {"check.html": b"<!doctype html><title>short</title>"})


def test_every_flipped_byte_is_noticed() -> None:
    data = small_packet()
    assert not is_noticed(data)
    flips = random.Random(7)
    unnoticed = []
    for place in range(len(data)):
        damaged = bytearray(data)
        damaged[place] ^= flips.randrange(1, 256)
        if not is_noticed(bytes(damaged)):
            unnoticed.append(place)
    assert unnoticed == []


def test_a_flip_anywhere_in_the_whole_packet_is_noticed() -> None:
    data = worked_example.worked_packet()
    for place in range(0, len(data), 97):
        damaged = bytearray(data)
        damaged[place] ^= 1
        assert is_noticed(bytes(damaged)), place


def test_an_interrupted_download_is_noticed_at_every_length() -> None:
    data = small_packet()
    assert all(is_noticed(data[:length]) for length in range(0, len(data), 7))
    assert is_noticed(data[:-1])
