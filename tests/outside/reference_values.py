"""Compares measured values with reference libraries on the same pictures.

OpenCV: Laplacian variance and Sobel energy (tolerance 0.1 %, borders differ by nothing: both leave them out).
scikit-image: upsampled-DFT registration (tolerance 0.02 px), CIEDE2000 (1e-6 relative).
colour-science: sRGB to L*a*b* (0.02), CIEDE2000 (1e-6 relative), the sRGB transfer function (background, 0.5 %).

    python reference_values.py PROGRAM FOLDER     PROGRAM: the built example `measured_values`

FOLDER holds a rendered set (see rendered_sets.py). Exits 1 when a value is outside its tolerance.
"""

import json
import pathlib
import subprocess
import sys

import colour
import cv2
import numpy as np
from scipy import ndimage
from skimage.color import deltaE_ciede2000
from skimage.registration import phase_cross_correlation


def luma(rgb):
    """The luma as the crate takes it: BT.601 in 8-bit fixed point."""
    r, g, b = (rgb[..., i].astype(np.uint32) for i in range(3))
    return ((77 * r + 150 * g + 29 * b + 128) >> 8).astype(np.uint8)


def main():
    program, folder = sys.argv[1], pathlib.Path(sys.argv[2])
    work = folder / "reference"
    work.mkdir(exist_ok=True)
    source = cv2.cvtColor(cv2.imread(str(sorted(folder.glob("frame-*.jpg"))[0])), cv2.COLOR_BGR2RGB)
    rng = np.random.default_rng(7)
    pictures, moves = [], []
    for i, (dy, dx) in enumerate([(0, 0), (0.37, -1.82), (2.5, 3.11), (-4.06, 0.9)]):
        moved = np.stack([ndimage.shift(source[..., c].astype(float), (dy, dx), order=3, mode="wrap") for c in range(3)], -1)
        moved = ndimage.gaussian_filter(moved, (0.6 * i, 0.6 * i, 0)) + rng.normal(size=moved.shape) * 2
        cut = moved[100:868, 300:1068].clip(0, 255).astype(np.uint8)
        path = work / f"{i}.png"
        cv2.imwrite(str(path), cv2.cvtColor(cut, cv2.COLOR_RGB2BGR))
        pictures.append((path, cut))
        moves.append((dy, dx))
    lines = subprocess.run([program, *[str(p) for p, _ in pictures]], check=True, capture_output=True, text=True).stdout
    ours = [json.loads(line) for line in lines.splitlines()]
    failed = 0

    def row(name, mine, theirs, tolerance, relative):
        nonlocal failed
        off = abs(mine - theirs) / (abs(theirs) if relative else 1)
        bad = not off <= tolerance
        failed += bad
        print(f"{name:42} {mine:14.6f} {theirs:14.6f}  off {off:.2e} of {tolerance:.0e}{'  FAILED' if bad else ''}")

    for i, ((_, rgb), mine) in enumerate(zip(pictures, ours)):
        plane = luma(rgb)
        inner = (slice(1, -1), slice(1, -1))
        lap = cv2.Laplacian(plane, cv2.CV_64F, ksize=1)[inner]
        row(f"{i} Laplacian variance (OpenCV)", mine["laplacian_variance"], lap.var(), 1e-3, True)
        gx = cv2.Sobel(plane, cv2.CV_64F, 1, 0, ksize=3)[inner]
        gy = cv2.Sobel(plane, cv2.CV_64F, 0, 1, ksize=3)[inner]
        row(f"{i} Tenengrad (OpenCV Sobel)", mine["tenengrad"], (gx**2 + gy**2).mean(), 1e-3, True)
        if mine["displacement"] is not None:
            shift, _, _ = phase_cross_correlation(luma(pictures[i - 1][1]), plane, upsample_factor=100, normalization=None)
            row(f"{i} moved right (scikit-image)", mine["displacement"][0], -shift[1], 0.02, False)
            row(f"{i} moved down (scikit-image)", mine["displacement"][1], -shift[0], 0.02, False)
        labs = []
        for name, at in (("lab_first", (0, 0)), ("lab_middle", (rgb.shape[0] // 2, rgb.shape[1] // 2))):
            lab = colour.XYZ_to_Lab(colour.sRGB_to_XYZ(rgb[at] / 255.0), colour.CCS_ILLUMINANTS["CIE 1931 2 Degree Standard Observer"]["D65"])
            labs.append(lab)
            row(f"{i} {name} (colour-science, worst part)", float(np.max(np.abs(np.array(mine[name]) - lab))), 0.0, 0.05, False)
        mine_labs = [np.array(mine["lab_first"]), np.array(mine["lab_middle"])]
        row(f"{i} CIEDE2000 (scikit-image)", mine["ciede2000"], float(deltaE_ciede2000(*mine_labs)), 1e-6, True)
        row(f"{i} CIEDE2000 (colour-science)", mine["ciede2000"], float(colour.delta_E(*mine_labs, method="CIE 2000")), 1e-6, True)
        linear = colour.models.eotf_sRGB(rgb / 255.0)
        light = float((linear @ np.array([0.2126, 0.7152, 0.0722])).mean())
        row(f"{i} mean light (colour-science)", mine["mean_light"], light, 5e-3, True)
    print(f"{failed} of the values outside their tolerance")
    sys.exit(1 if failed else 0)


if __name__ == "__main__":
    main()
