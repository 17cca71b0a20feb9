"""Writes the true outlines of rendered sets beside their frames: `mask-000.png` for `frame-000.jpg`.

    python rendered_masks.py FOLDER SET [SET ...]

FOLDER holds sets made by `rendered_sets.py`. Each pixel is the object's share, 0 to 255, from a rendering of twice the
size. Only frames without faults of their own get one. Masks that are there already are left as they are.
"""

import json
import pathlib
import sys

import numpy as np
import vtk
from PIL import Image
from rendered_sets import Stage
from vtk.util.numpy_support import vtk_to_numpy


def cover(stage, deg):
    """The object's share of each pixel."""
    stage.actor.SetOrientation(0, 0, deg)
    stage.window.Render()
    grab = vtk.vtkWindowToImageFilter()
    grab.SetInput(stage.window)
    grab.SetInputBufferTypeToRGB()
    grab.ReadFrontBufferOff()
    grab.ShouldRerenderOff()
    grab.Update()
    image = grab.GetOutput()
    width, height, _ = image.GetDimensions()
    rgb = vtk_to_numpy(image.GetPointData().GetScalars()).reshape(height, width, -1)[::-1, :, :3]
    return (rgb.max(-1) > 0).reshape(height // 2, 2, width // 2, 2).mean((1, 3))


for name in sys.argv[2:]:
    folder = pathlib.Path(sys.argv[1]) / name
    truth = json.loads((folder / "truth.json").read_text())
    stage = None
    for frame in truth["frames"]:
        path = folder / frame["file"].replace("frame-", "mask-").replace(".jpg", ".png")
        if frame["faults"] or frame["closing"] or path.exists():
            continue
        stage = stage or Stage(truth["setup"], truth["width"], truth["height"])
        sign = -1.0 if truth["setup"]["clockwise"] else 1.0
        share = cover(stage, sign * frame["true_degrees"])
        Image.fromarray((share * 255).round().astype(np.uint8)).save(path)
