"""A neck with headstock, strings and body, drawn; its frets' ends in the picture are known."""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

SCALE_MM, NUT_MM, TWELFTH_MM = 640.0, 42.5, 52.2
WIDTH_PX, HEIGHT_PX = 1200, 1600
DOTS = (3, 5, 7, 9, 12, 15, 17, 19, 21, 24)


@dataclass(frozen=True)
class Scene:
    rgb: NDArray[np.uint8]
    ends_px: NDArray[np.float64]  # (N + 1, 2, 2) nut and frets, side 0 = X negative


def neck_scene(
    frets: int, elevation_deg: float, from_headstock: bool, roll_deg: float = 0.0, seed: int = 1
) -> Scene:
    """A flat board with fret wires, strings and a headstock, seen by a pinhole camera above one end."""
    rng = np.random.default_rng(seed)
    k = np.arange(frets + 1)
    along = SCALE_MM * (1.0 - 2.0 ** (-k / 12.0))
    aim = np.array([0.0, 0.0, along[-1] / 2])
    back = -1.0 if from_headstock else 1.0
    lift, out = np.sin(np.deg2rad(elevation_deg)), np.cos(np.deg2rad(elevation_deg))
    eye = aim + 1500.0 * np.array([0.02, lift, back * out])
    axis = (aim - eye) / np.linalg.norm(aim - eye)
    roll = np.deg2rad(roll_deg)
    # Y is up from the board, so this turn keeps (X right, Z down) right-handed as seen from above.
    right = np.cross(axis, np.array([0.0, 1.0, 0.0]))
    right /= np.linalg.norm(right)
    down = np.cross(axis, right)
    right, down = np.cos(roll) * right + np.sin(roll) * down, np.cos(roll) * down - np.sin(roll) * right
    focal = 1500.0 * HEIGHT_PX * 0.55 / (along[-1] * max(lift, 0.45))

    def project(points: NDArray[np.float64]) -> NDArray[np.float64]:
        ray = points - eye
        depth = ray @ axis
        uv = np.stack([ray @ right, ray @ down], axis=-1) / depth[..., None]
        return focal * uv + np.array([WIDTH_PX / 2, HEIGHT_PX / 2])

    fine = 2
    noise = rng.normal(0.0, 1.0, (HEIGHT_PX // 4, WIDTH_PX // 4)).astype(np.float32)
    canvas = np.full((HEIGHT_PX * fine, WIDTH_PX * fine, 3), (118, 122, 130), dtype=np.uint8)

    def fill(corners: NDArray[np.float64], colour: tuple[int, int, int]) -> None:
        cv2.fillPoly(
            canvas, [np.round(project(corners) * fine * 16).astype(np.int32)], colour, cv2.LINE_AA, 4
        )

    def half_width(z: float) -> float:
        return 0.5 * (NUT_MM + (TWELFTH_MM - NUT_MM) * z / (SCALE_MM / 2))

    def slab(z0: float, z1: float, height: float, grow: float = 0.0) -> NDArray[np.float64]:
        a, b = half_width(z0) + grow, half_width(z1) + grow
        return np.array([[-a, height, z0], [a, height, z0], [b, height, z1], [-b, height, z1]])

    fill(slab(along[-1] + 4.0, along[-1] + 140.0, -15.0, 120.0), (60, 110, 150))
    fill(slab(-150.0, -5.0, -4.0, 8.0), (200, 165, 120))
    fill(slab(-4.0, along[-1] + 5.0, 0.0), (84, 58, 44))
    for dot in (d for d in DOTS if d <= frets):
        centre = 0.5 * (along[dot] + along[dot - 1])
        turn = np.linspace(0.0, 2 * np.pi, 24)
        for x in (-12.0, 12.0) if dot in (12, 24) else (0.0,):
            fill(
                np.stack([x + 3 * np.cos(turn), 0 * turn, centre + 3 * np.sin(turn)], axis=1), (215, 210, 200)
            )
    fill(slab(-4.5, 0.0, 1.2), (232, 228, 215))
    for z in along[1:] if back > 0 else along[:0:-1]:  # from afar, so that near frets hide far ones
        a = half_width(float(z))
        front = np.array([[-a, 1.1, z], [a, 1.1, z], [a, 0.0, z + 1.2 * back], [-a, 0.0, z + 1.2 * back]])
        fill(front, (150, 150, 152))
        fill(slab(float(z) - 0.5, float(z) + 0.5, 1.1), (205, 205, 208))
    for x in np.linspace(-1.0, 1.0, 6):
        ends = np.array([[x * 17.5, 2.0, -4.0], [x * 26.0, 3.5, SCALE_MM * 0.97]])
        a, b = np.round(project(ends) * fine).astype(int)
        cv2.line(canvas, tuple(a.tolist()), tuple(b.tolist()), (170, 168, 165), 2, cv2.LINE_AA)
    picture = cv2.resize(canvas, (WIDTH_PX, HEIGHT_PX), interpolation=cv2.INTER_AREA)
    picture = cv2.GaussianBlur(picture, (0, 0), 1.0).astype(np.float32)
    picture += 1.5 * cv2.resize(noise, (WIDTH_PX, HEIGHT_PX))[..., None]
    picture += rng.normal(0.0, 1.5, picture.shape).astype(np.float32)
    widths = np.array([half_width(float(z)) for z in along])
    tops = np.zeros((frets + 1, 2, 3))
    tops[:, 0, 0], tops[:, 1, 0] = -widths, widths
    tops[1:, :, 1], tops[:, :, 2] = 1.1, along[:, None]
    return Scene(np.clip(picture, 0, 255).astype(np.uint8), project(tops))
