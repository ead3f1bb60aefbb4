"""Two published methods on the textures that stand in files.

    peers.py FOLDER SIDE NUMBER... : reads FOLDER/first.raw and FOLDER/NUMBER.raw, SIDE by SIDE
    little-endian 32-bit floats each. Prints the shift that each method finds for each
    number, to the right and down, and its median time in ms.
"""

import json
import pathlib
import statistics
import sys
import time

import cv2
import numpy as np
from skimage.registration import phase_cross_correlation

folder, side = pathlib.Path(sys.argv[1]), int(sys.argv[2])
RUNS = 5


def read(name):
    return np.fromfile(folder / f"{name}.raw", dtype="<f4").reshape(side, side)


window = np.outer(np.hanning(side), np.hanning(side))


def cross_correlation(first, second):
    a = (first - first.mean()) * window
    b = (second - second.mean()) * window
    down, right = phase_cross_correlation(a, b, upsample_factor=100, normalization=None)[0]
    return [-float(right), -float(down)]


until = (cv2.TERM_CRITERIA_EPS | cv2.TERM_CRITERIA_COUNT, 100, 1e-6)


def ecc(motion, smoothing):
    def method(first, second):
        low, high = first.min(), first.max()
        a = ((first - low) / (high - low)).astype(np.float32)
        b = ((second - low) / (high - low)).astype(np.float32)
        begin = np.eye(2, 3, dtype=np.float32)
        _, warp = cv2.findTransformECC(a, b, begin, motion, until, None, smoothing)
        middle = np.array([side / 2, side / 2, 1.0])
        moved = warp @ middle - middle[:2]
        return [float(moved[0]), float(moved[1])]

    return method


methods = {
    "cross-correlation, upsampled 100 times": cross_correlation,
    "ECC, shift": ecc(cv2.MOTION_TRANSLATION, 5),
    "ECC, shift and rotation": ecc(cv2.MOTION_EUCLIDEAN, 5),
}
first = read("first")
answer = {}
for name, method in methods.items():
    found, times = [], []
    for number in sys.argv[3:]:
        second = read(number)
        found.append(method(first, second))
        for _ in range(RUNS):
            began = time.perf_counter()
            method(first, second)
            times.append(1e3 * (time.perf_counter() - began))
    answer[name] = {"found": found, "ms": statistics.median(times)}
print(json.dumps(answer))
