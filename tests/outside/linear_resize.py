"""Resizes in linear light with Pillow, as a reference of another origin.

usage: linear_resize.py WIDTH HEIGHT TO_WIDTH TO_HEIGHT < rgb8 > rgb8

sRGB is decoded and coded by the formulas of IEC 61966-2-1; each channel is resized as 32-bit floating
point with Pillow's BICUBIC (a = -1/2, support widened when shrinking).
"""

import sys

import numpy as np
from PIL import Image

width, height, to_width, to_height = (int(a) for a in sys.argv[1:5])
coded = np.frombuffer(sys.stdin.buffer.read(), np.uint8).reshape(height, width, 3) / 255.0
linear = np.where(coded <= 0.04045, coded / 12.92, ((coded + 0.055) / 1.055) ** 2.4)
resized = np.stack(
    [
        np.asarray(
            Image.fromarray(linear[:, :, c].astype(np.float32), mode="F").resize(
                (to_width, to_height), Image.Resampling.BICUBIC
            )
        )
        for c in range(3)
    ],
    axis=2,
).clip(0.0, 1.0)
out = np.where(resized <= 0.0031308, resized * 12.92, 1.055 * resized ** (1 / 2.4) - 0.055)
sys.stdout.buffer.write((out * 255.0).round().astype(np.uint8).tobytes())
