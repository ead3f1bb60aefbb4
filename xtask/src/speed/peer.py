"""The whole job by numpy: from four kinds of curves to 480 000 integrals.

Prints the median time in ms, that of the bare product of matrices, and the sum of
all integrals. Called with the number of turns.
"""

import json
import statistics
import sys
import time

import numpy as np

N, LIGHTS, FILMS, FILTERS, SUBJECTS = 521, 50, 20, 40, 12


def curves(count, seed):
    return (0.6 + 0.4 * np.sin(seed * np.arange(count * N) + seed)).reshape(count, N)


lights, films = curves(LIGHTS, 0.013), curves(FILMS, 0.017)
filters, subjects = curves(FILTERS, 0.019), curves(SUBJECTS, 0.023)
weights = np.ones(N)
weights[0] = weights[-1] = 0.5


def matrices():
    response = (films[:, None, :] * filters[None, :, :]).reshape(-1, N)
    incoming = ((lights * weights)[:, None, :] * subjects[None, :, :]).reshape(-1, N)
    return response, incoming


def whole():
    response, incoming = matrices()
    return response @ incoming.T


def median_ms(job):
    job()
    times = []
    for _ in range(int(sys.argv[1])):
        began = time.perf_counter()
        job()
        times.append(1e3 * (time.perf_counter() - began))
    return statistics.median(times)


response, incoming = matrices()
print(
    json.dumps(
        {
            "whole_ms": median_ms(whole),
            "product_ms": median_ms(lambda: response @ incoming.T),
            "sum": float(whole().sum()),
            "numpy": np.__version__,
        }
    )
)
