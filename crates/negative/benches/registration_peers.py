"""Times two published methods on the texture of the bench `registration`.

    python3 -m venv peers && peers/bin/pip install numpy scikit-image opencv-python-headless
    peers/bin/python crates/negative/benches/registration_peers.py

Reads the waves from ../tests/texture/mod.rs. Prints the median of 20 runs and
the shift found; the true one is (-4.6, 3.2) to the right and down.
"""

import pathlib
import re
import time

import cv2
import numpy as np
from skimage.registration import phase_cross_correlation

SIDE = 512
SHIFT = (-4.6, 3.2)
RUNS = 20

source = pathlib.Path(__file__).parent.parent / "tests" / "texture" / "mod.rs"
rows = re.findall(r"^    \[(.*)\],$", source.read_text(), re.M)
waves = [[float(n) for n in row.split(",")] for row in rows]
assert len(waves) == 300, f"300 waves expected, {len(waves)} read"


def texture(dx, dy):
    y, x = np.mgrid[0:SIDE, 0:SIDE].astype(float)
    values = np.zeros((SIDE, SIDE))
    for fx, fy, phase, amplitude in waves:
        values += amplitude * np.cos(2 * np.pi * (fx * (x - dx) + fy * (y - dy)) + phase)
    return values


def timed(name, method):
    found = method()
    times = []
    for _ in range(RUNS):
        start = time.perf_counter()
        method()
        times.append(1e3 * (time.perf_counter() - start))
    print(f"{name}: {sorted(times)[RUNS // 2]:.1f} ms (least {min(times):.1f}), found {found}")


first, second = texture(0, 0), texture(*SHIFT)
window = np.outer(np.hanning(SIDE), np.hanning(SIDE))


def cross_correlation():
    a = (first - first.mean()) * window
    b = (second - second.mean()) * window
    down, right = phase_cross_correlation(a, b, upsample_factor=100, normalization=None)[0]
    return (-right, -down)


low, high = first.min(), first.max()
a32 = ((first - low) / (high - low)).astype(np.float32)
b32 = ((second - low) / (high - low)).astype(np.float32)
until = (cv2.TERM_CRITERIA_EPS | cv2.TERM_CRITERIA_COUNT, 100, 1e-6)


def correlation_coefficient(motion):
    _, warp = cv2.findTransformECC(a32, b32, np.eye(2, 3, dtype=np.float32), motion, until, None, 5)
    return (round(float(warp[0, 2]), 4), round(float(warp[1, 2]), 4))


timed("cross-correlation, DFT upsampled 100 times, shift only", cross_correlation)
timed("ECC, shift only", lambda: correlation_coefficient(cv2.MOTION_TRANSLATION))
timed("ECC, shift and rotation", lambda: correlation_coefficient(cv2.MOTION_EUCLIDEAN))
timed("ECC, affine", lambda: correlation_coefficient(cv2.MOTION_AFFINE))
