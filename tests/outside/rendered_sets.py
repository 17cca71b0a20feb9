"""Renders sets of frames with known truth, to measure `imaging`'s checks against.

The renderer is VTK (Python wheel `vtk`, Debian's Mesa), not the project's own scene. Objects, lens, light,
patterns and faults are drawn from a seed; everything is invented demo data. Each set is a folder of JPEGs
with a `truth.json`. A folder with a finished `truth.json` is left as it is, so the folder is a cache.

    python rendered_sets.py FOLDER --suite small|long
    python rendered_sets.py FOLDER --sets 12 [--first 0]

The long suite is seeds 1000 to 1095. Seeds from 1000 on draw from more objects, paints, lenses, frames and
backgrounds and give every set several faults at and above the limits; a fifth of them is clean.

Lengths are in units of the object's size. The axis is z; a table angle grows anticlockwise seen from above.
Picture positions count from the top left corner; the middle of the first pixel is (0.5, 0.5).
"""

import argparse
import io
import json
import math
import pathlib

import numpy as np
import vtk
from PIL import Image
from scipy import ndimage
from vtk.util.numpy_support import numpy_to_vtk, vtk_to_numpy

OBJECTS = ["vase", "mug", "bottle", "box", "blob", "teapot", "figure", "bowl", "sphere", "tall_box"]
MORE_OBJECTS = [*OBJECTS, "jug", "candlestick", "shoe", "ring", "blocks", "gear"]
# What the small suite shows: object, paint, stops.
SMALL = {2001: ("mug", "noise", 24), 2002: ("box", "print", 24), 2003: ("vase", "plain", 12), 2004: ("sphere", "plain", 12),
         2014: ("mug", "plain", 12), 2007: ("jug", "repeat", 18), 2008: ("blob", "speckle", 18)}
ROUND = ("vase", "bottle", "bowl", "sphere", "candlestick")


# ---------------------------------------------------------------- shapes


def grid_mesh(x, y, z, wrap_u):
    """A mesh over a grid of points; u (second index) may close on itself."""
    rows, cols = x.shape
    points = np.stack([x, y, z], -1).reshape(-1, 3)
    i = np.arange(rows - 1)[:, None]
    j = np.arange(cols if wrap_u else cols - 1)[None, :]
    k = (j + 1) % cols
    a, b, c, d = i * cols + j, i * cols + k, (i + 1) * cols + k, (i + 1) * cols + j
    faces = np.concatenate([np.stack([a, b, c], -1).reshape(-1, 3), np.stack([a, c, d], -1).reshape(-1, 3)])
    return points, faces


def revolve(profile, n=600, m=420):
    """A surface of revolution through (radius, height) pairs."""
    profile = np.array(profile, float)
    step = np.hypot(*np.diff(profile, axis=0).T)
    t = np.concatenate([[0], np.cumsum(step)])
    u = np.linspace(0, t[-1], m)
    r, z = np.interp(u, t, profile[:, 0]), np.interp(u, t, profile[:, 1])
    r = ndimage.gaussian_filter1d(r, 4, mode="nearest")
    z = ndimage.gaussian_filter1d(z, 4, mode="nearest")
    a = np.linspace(0, 2 * np.pi, n, endpoint=False)
    return grid_mesh(r[:, None] * np.cos(a), r[:, None] * np.sin(a), z[:, None] + 0 * a, True)


def tube(path, radius, n=60):
    """A tube along a smooth path in space."""
    path = np.array(path, float)
    t = np.gradient(path, axis=0)
    t /= np.linalg.norm(t, axis=1, keepdims=True)
    side = np.cross(t, [0.3, 1.0, 0.11])
    side /= np.linalg.norm(side, axis=1, keepdims=True)
    up = np.cross(t, side)
    a = np.linspace(0, 2 * np.pi, n, endpoint=False)
    radius = np.broadcast_to(radius, len(path))[:, None, None]
    ring = path[:, None, :] + radius * (np.cos(a)[None, :, None] * side[:, None] + np.sin(a)[None, :, None] * up[:, None])
    return grid_mesh(ring[..., 0], ring[..., 1], ring[..., 2], True)


def star(radius_of, n=600, m=400):
    """A star-shaped solid: radius as a function of direction."""
    a = np.linspace(0, 2 * np.pi, n, endpoint=False)
    e = np.linspace(-np.pi / 2 + 1e-3, np.pi / 2 - 1e-3, m)
    e, a = np.meshgrid(e, a, indexing="ij")
    d = np.stack([np.cos(e) * np.cos(a), np.cos(e) * np.sin(a), np.sin(e)], -1)
    p = d * radius_of(d)[..., None]
    return grid_mesh(p[..., 0], p[..., 1], p[..., 2], True)


def superbox(half, power):
    half = np.array(half, float)
    return star(lambda d: (np.abs(d / half) ** power).sum(-1) ** (-1 / power))


def arc(centre, rx, rz, start, stop, count=120):
    t = np.radians(np.linspace(start, stop, count))
    return [(centre[0] + rx * math.cos(v), 0, centre[2] + rz * math.sin(v)) for v in t]


def build(kind, rng):
    """Returns a list of (points, faces); the base stands at z = 0, height about 1."""
    if kind == "vase":
        w = rng.uniform(0.2, 0.32)
        return [revolve([(0, 0), (0.18, 0), (0.2, 0.02), (w, 0.35), (w * 0.95, 0.5), (0.1, 0.8), (0.09, 0.9), (0.14, 1), (0.12, 1), (0.07, 0.9), (0, 0.85)])]
    if kind in ("mug", "teapot"):
        h = rng.uniform(0.62, 0.8)
        w = rng.uniform(0.3, 0.36)
        if kind == "mug":
            body = revolve([(0, 0), (w * 0.9, 0), (w, 0.04), (w * 1.02, h), (w * 0.96, h), (w * 0.93, 0.06), (0, 0.05)])
            return [body, tube(arc((w * 0.98, 0, h * 0.5), 0.2, h * 0.33, -80, 80), 0.045)]
        body = revolve([(0, 0), (0.2, 0), (0.22, 0.03), (0.38, 0.25), (0.36, 0.42), (0.2, 0.56), (0.06, 0.6), (0.05, 0.64), (0.07, 0.68), (0.04, 0.72), (0, 0.72)])
        spout = [(-0.3 - 0.3 * s, 0, 0.22 + 0.3 * s**1.4) for s in np.linspace(0, 1, 80)]
        return [body, tube(arc((0.33, 0, 0.33), 0.2, 0.18, -100, 95), 0.035), tube(spout, np.linspace(0.09, 0.04, 80))]
    if kind == "bottle":
        return [revolve([(0, 0), (0.19, 0), (0.2, 0.03), (0.2, 0.58), (0.17, 0.66), (0.07, 0.76), (0.065, 0.92), (0.08, 0.93), (0.08, 1), (0, 1)])]
    if kind == "bowl":
        return [revolve([(0, 0), (0.2, 0), (0.2, 0.04), (0.42, 0.2), (0.55, 0.42), (0.53, 0.43), (0.4, 0.22), (0.18, 0.07), (0, 0.06)])]
    if kind == "sphere":
        p, f = star(lambda d: np.full(d.shape[:-1], 0.4))
        return [(p + [0, 0, 0.4], f)]
    if kind in ("box", "tall_box"):
        half = (0.36, 0.2, 0.26) if kind == "box" else (0.2, 0.14, 0.5)
        half = np.array(half) * rng.uniform(0.85, 1.1, 3)
        p, f = superbox(half, rng.uniform(7, 16))
        return [(p + [0, 0, half[2]], f)]
    if kind == "blob":
        axes = rng.normal(size=(7, 3))
        size = rng.uniform(0.03, 0.09, 7)
        def radius(d):
            r = np.full(d.shape[:-1], 0.36)
            for axis, s in zip(axes, size):
                r += s * np.sin((d @ axis) * 2.2 + s * 60)
            return r
        p, f = star(radius)
        return [(p + [0, 0, -p[:, 2].min()], f)]
    if kind == "jug":
        body = revolve([(0, 0), (0.2, 0), (0.22, 0.03), (0.33, 0.28), (0.3, 0.45), (0.17, 0.66), (0.2, 0.8), (0.19, 0.82), (0.08, 0.86), (0.05, 0.88), (0.07, 0.93), (0.04, 0.97), (0, 0.97)])
        lip = [(-0.17 - 0.16 * s, 0.0, 0.68 + 0.13 * s) for s in np.linspace(0, 1, 60)]
        return [body, tube(arc((0.24, 0, 0.52), 0.22, 0.27, -95, 100), 0.038), tube(lip, np.linspace(0.07, 0.035, 60))]
    if kind == "candlestick":
        w = rng.uniform(0.2, 0.3)
        return [revolve([(0, 0), (w, 0), (w, 0.03), (0.08, 0.1), (0.05, 0.2), (0.1, 0.28), (0.045, 0.36), (0.045, 0.6), (0.09, 0.66), (0.05, 0.72), (0.14, 0.78), (0.14, 0.8), (0.05, 0.81), (0.05, 1), (0, 1)])]
    if kind == "shoe":
        sole, f0 = superbox((0.5, 0.17, 0.05), 5)
        sole[:, 1] += 0.05 * np.cos(sole[:, 0] * 4)
        toe, f1 = star(lambda d: 1 / np.sqrt((d[..., 0] / 0.34) ** 2 + (d[..., 1] / 0.16) ** 2 + (d[..., 2] / 0.17) ** 2))
        shaft, f2 = superbox((0.2, 0.14, 0.25), 4)
        shaft[:, 0] += 0.12 * (shaft[:, 2] + 0.25) - 0.26
        return [(sole + [0, 0, 0.05], f0), (toe + [0.14, 0.02, 0.16], f1), (shaft + [0, 0, 0.3], f2)]
    if kind == "ring":
        w = rng.uniform(0.26, 0.33)
        path = arc((0, 0, 0.16 + w), w, w, 0, 360, 240)
        return [revolve([(0, 0), (0.24, 0), (0.24, 0.04), (0.12, 0.08), (0.1, 0.2), (0, 0.2)]), tube(path, rng.uniform(0.07, 0.1))]
    if kind == "blocks":
        parts, z = [], 0.0
        for half in rng.uniform((0.2, 0.16, 0.08), (0.42, 0.3, 0.16), (4, 3)):
            p, f = superbox(half, 14)
            a = rng.uniform(0, np.pi)
            x, y = p[:, 0].copy(), p[:, 1].copy()
            p[:, 0], p[:, 1] = x * np.cos(a) - y * np.sin(a), x * np.sin(a) + y * np.cos(a)
            parts.append((p + [*rng.uniform(-0.05, 0.05, 2), z + half[2]], f))
            z += 2 * half[2]
        return parts
    if kind == "gear":
        teeth = int(rng.integers(7, 14))
        points, f = revolve([(0, 0), (0.4, 0), (0.42, 0.02), (0.42, 0.24), (0.4, 0.26), (0.16, 0.27), (0.15, 0.55), (0.14, 0.57), (0, 0.57)])
        r = np.hypot(points[:, 0], points[:, 1])
        a = np.arctan2(points[:, 1], points[:, 0])
        points[:, :2] *= (1 + np.clip((r - 0.16) / 0.2, 0, 1) * 0.1 * np.tanh(3 * np.sin(teeth * a)))[:, None]
        return [(points, f)]
    # A standing figure: body, head, arms.
    parts = [revolve([(0, 0), (0.22, 0), (0.24, 0.05), (0.15, 0.3), (0.19, 0.55), (0.1, 0.68), (0.06, 0.7), (0, 0.72)])]
    head, f = star(lambda d: 0.13 + 0.03 * d[..., 0] ** 3)
    parts.append((head + [0.02, 0, 0.82], f))
    for s in (-1, 1):
        path = [(0.1 * t, s * (0.15 + 0.22 * math.sin(2.2 * t)), 0.58 - 0.25 * t * (1 + 0.3 * s)) for t in np.linspace(0, 1, 60)]
        parts.append(tube(path, 0.05))
    return parts


# ---------------------------------------------------------------- colours


def value_noise(points, scale, rng):
    lattice = rng.uniform(-1, 1, (32, 32, 32))
    return ndimage.map_coordinates(lattice, (points * scale + 8.3).T, order=3, mode="grid-wrap")


def paint(kind, points, rng):
    """Linear-light albedo for each point."""
    base = np.array([0.35, 0.32, 0.28]) + rng.uniform(-0.2, 0.25, 3)
    ink = np.clip(base * rng.uniform(0.15, 0.5) + rng.uniform(0, 0.15, 3), 0.02, 1)
    third = np.clip(rng.uniform(0.1, 0.7, 3), 0, 1)
    colour = np.tile(base, (len(points), 1))
    azimuth = np.arctan2(points[:, 1], points[:, 0])
    if kind == "plain":
        return colour
    if kind == "bands":
        colour[np.sin(points[:, 2] * 40) > 0.3] = ink
        return colour
    if kind == "print":
        # Printed rectangles, as on a box or a label.
        for _ in range(90):
            a, z = rng.uniform(-np.pi, np.pi), rng.uniform(0, 1)
            inside = (np.abs(np.mod(azimuth - a + np.pi, 2 * np.pi) - np.pi) < rng.uniform(0.03, 0.16)) & (np.abs(points[:, 2] - z) < rng.uniform(0.008, 0.04))
            colour[inside] = np.clip(ink if rng.random() < 0.6 else third, 0.01, 0.95)
        return colour
    p = points
    if kind == "wood":
        p = points * [1, 1, 0.25]
    if kind == "repeat":
        fold = int(rng.choice([6, 8, 10, 12, 16]))
        local = np.mod(azimuth, 2 * np.pi / fold) - np.pi / fold
        r = np.hypot(points[:, 0], points[:, 1])
        p = np.stack([np.cos(local) * 0.4, np.sin(local) * r, points[:, 2]], -1)
        p[:, 1] = np.abs(p[:, 1])
    def soft(v, edge):
        return 1 / (1 + np.exp(-np.clip(v / edge, -30, 30)))[:, None]
    coarse = value_noise(p, rng.uniform(6, 10), rng)
    fine = value_noise(p, rng.uniform(18, 30), rng)
    grain = value_noise(p, 70, rng)
    if kind == "speckle":
        mask = soft(fine + 0.4 * grain - 0.35, 0.08)
        return colour * (1 - mask) + ink * mask
    if kind == "faint":
        # Glaze of hardly differing tones.
        return np.clip(colour * (1 + 0.1 * coarse + 0.08 * fine + 0.05 * grain)[:, None], 0.01, 0.95)
    mask = soft(coarse - 0.1, 0.05)
    mask2 = soft(fine - 0.3, 0.06)
    colour = colour * (1 - mask) + third * mask
    colour = colour * (1 - mask2) + ink * mask2
    colour *= 1 + 0.12 * grain[:, None]
    if kind == "label":
        inside = (np.abs(azimuth) < 0.95) & (points[:, 2] > 0.15) & (points[:, 2] < 0.6)
        colour[~inside] = base
    return np.clip(colour, 0.01, 0.95)


# ---------------------------------------------------------------- renderer


def encode_srgb(linear):
    linear = np.clip(linear, 0, 1)
    return np.where(linear <= 0.0031308, linear * 12.92, 1.055 * linear ** (1 / 2.4) - 0.055)


def decode_srgb(coded):
    return np.where(coded <= 0.04045, coded / 12.92, ((coded + 0.055) / 1.055) ** 2.4)


CODES = (encode_srgb(np.arange(65536) / 65535) * 255 + 0.5).astype(np.uint8)


class Stage:
    """One object before one camera."""

    def __init__(self, setup, width, height):
        self.setup, self.width, self.height = setup, width, height
        rng = np.random.default_rng(setup["seed"])
        parts = build(setup["object"], rng)
        offset = 0
        points, faces = [], []
        for p, f in parts:
            points.append(p)
            faces.append(f + offset)
            offset += len(p)
        points, faces = np.concatenate(points), np.concatenate(faces)
        colour = paint(setup["pattern"], points, rng)
        self.solid = points + np.array([*setup["off_centre"], 0.0])
        self.top = points[:, 2].max()
        mesh = vtk.vtkPolyData()
        vtk_points = vtk.vtkPoints()
        vtk_points.SetData(numpy_to_vtk(self.solid, deep=True))
        cells = np.hstack([np.full((len(faces), 1), 3), faces]).astype(np.int64)
        array = vtk.vtkCellArray()
        array.SetCells(len(faces), vtk.util.numpy_support.numpy_to_vtkIdTypeArray(cells.ravel(), deep=True))
        mesh.SetPoints(vtk_points)
        mesh.SetPolys(array)
        # VTK shades and shows numbers as they are: they are taken as linear light in 8 bits, so the
        # square root is stored and squared after reading to keep the darks.
        scalars = numpy_to_vtk((np.sqrt(colour) * 255).astype(np.uint8), deep=True)
        mesh.GetPointData().SetScalars(scalars)
        normals = vtk.vtkPolyDataNormals()
        normals.SetInputData(mesh)
        normals.SplittingOff()
        normals.ConsistencyOn()
        normals.AutoOrientNormalsOff()
        mapper = vtk.vtkPolyDataMapper()
        mapper.SetInputConnection(normals.GetOutputPort())
        self.actor = vtk.vtkActor()
        self.actor.SetMapper(mapper)
        look = self.actor.GetProperty()
        look.SetAmbient(0.35)
        look.SetDiffuse(0.7)
        look.SetSpecular(setup["gloss"])
        look.SetSpecularPower(40)
        self.scene = vtk.vtkRenderer()
        self.scene.SetBackground(0, 0, 0)
        self.scene.AddActor(self.actor)
        self.scene.SetTwoSidedLighting(True)
        self.scene.AutomaticLightCreationOff()
        for where, power in (((-2, -3, 4), 0.75), ((3, -2, 2), 0.35)):
            light = vtk.vtkLight()
            light.SetLightTypeToSceneLight()
            light.SetPosition(*where)
            light.SetFocalPoint(0, 0, 0.3)
            light.SetIntensity(power)
            self.scene.AddLight(light)
        self.window = vtk.vtkRenderWindow()
        self.window.SetOffScreenRendering(1)
        self.window.SetMultiSamples(0)
        self.window.SetAlphaBitPlanes(1)
        self.window.SetSize(2 * width, 2 * height)
        self.window.AddRenderer(self.scene)
        self.aim_camera()
        self.ground_rays()

    def aim_camera(self):
        s = self.setup
        tilt = math.radians(s["tilt_deg"])
        d = s["distance"]
        aim = np.array([0, 0, self.top * s["aim"]])
        forward = np.array([0, math.cos(tilt), -math.sin(tilt)])
        eye = aim - d * forward
        right = np.array([1.0, 0, 0])
        up = np.cross(right, forward)
        # Pan sideways so that the axis stands off the frame's middle, then roll.
        pan = math.radians(s["pan_deg"])
        forward, right = (
            math.cos(pan) * forward + math.sin(pan) * right,
            math.cos(pan) * right - math.sin(pan) * forward,
        )
        roll = math.radians(s["roll_deg"])
        right, up = math.cos(roll) * right + math.sin(roll) * up, math.cos(roll) * up - math.sin(roll) * right
        self.eye, self.forward, self.right, self.up = eye, forward, right, up
        self.focal = s["focal_heights"] * self.height
        camera = self.scene.GetActiveCamera()
        camera.SetPosition(*eye)
        camera.SetFocalPoint(*(eye + forward))
        camera.SetViewUp(*up)
        camera.SetViewAngle(2 * math.degrees(math.atan(self.height / 2 / self.focal)))
        camera.SetClippingRange(d * 0.2, d * 3 + 5)

    def project(self, point):
        v = np.asarray(point, float) - self.eye
        depth = v @ self.forward
        return (
            self.width / 2 + self.focal * (v @ self.right) / depth,
            self.height / 2 - self.focal * (v @ self.up) / depth,
        )

    def axis_truth(self):
        """The projected axis: column at mid height, lean (positive: top leans right)."""
        a, b = self.project([0, 0, 0]), self.project([0, 0, self.top])
        slope = (b[0] - a[0]) / (b[1] - a[1])
        return a[0] + (self.height / 2 - a[1]) * slope, math.degrees(math.atan(-slope))

    def ground_rays(self):
        """Where each pixel's ray meets the ground, for shadow and backdrop."""
        c, r = np.meshgrid(np.arange(self.width) + 0.5, np.arange(self.height) + 0.5)
        x = (c - self.width / 2) / self.focal
        y = (self.height / 2 - r) / self.focal
        ray = self.forward + x[..., None] * self.right + y[..., None] * self.up
        with np.errstate(divide="ignore"):
            t = np.where(ray[..., 2] < -1e-4, -self.eye[2] / ray[..., 2], np.inf)
        t = np.minimum(t, 50)
        self.ground = self.eye[:2] + t[..., None] * ray[..., :2]
        self.backdrop = np.array(self.setup["background"], np.float32) * (
            1 - self.setup["falloff"] * ((c / self.width - 0.5) ** 2 + (r / self.height - 0.4) ** 2)
            + self.setup.get("gradient", 0.0) * (0.5 - c / self.width)
        )[..., None].astype(np.float32)

    def shadow(self, deg):
        """A soft shadow: the solid's points laid on the ground along the light, blurred."""
        a = math.radians(deg)
        p = self.solid[::7]
        x = p[:, 0] * math.cos(a) - p[:, 1] * math.sin(a) + 0.35 * p[:, 2]
        y = p[:, 0] * math.sin(a) + p[:, 1] * math.cos(a) + 0.45 * p[:, 2]
        hit, _, _ = np.histogram2d(x, y, bins=160, range=[[-1.6, 1.6], [-1.6, 1.6]])
        low = p[:, 2] < 0.06
        base, _, _ = np.histogram2d(x[low], y[low], bins=160, range=[[-1.6, 1.6], [-1.6, 1.6]])
        grid = 0.45 * ndimage.gaussian_filter(np.minimum(ndimage.grey_closing(hit, 5), 1.0), 5)
        grid += 0.4 * ndimage.gaussian_filter(np.minimum(ndimage.grey_closing(base, 7), 1.0), 2.5)
        at = (self.ground + 1.6) / 3.2 * 160 - 0.5
        small = at[::2, ::2].reshape(-1, 2).T
        dark = ndimage.map_coordinates(grid, small, order=1, mode="constant").reshape(at[::2, ::2].shape[:2])
        dark = np.repeat(np.repeat(dark, 2, 0), 2, 1)[: self.height, : self.width]
        return (1 - np.minimum(ndimage.gaussian_filter(dark, 1.5), 0.85)).astype(np.float32)

    def linear(self, deg):
        """One exposure in linear light."""
        self.actor.SetOrientation(0, 0, deg)
        self.window.Render()
        grab = vtk.vtkWindowToImageFilter()
        grab.SetInput(self.window)
        grab.SetInputBufferTypeToRGB()
        grab.ReadFrontBufferOff()
        grab.ShouldRerenderOff()
        grab.Update()
        image = grab.GetOutput()
        w, h, _ = image.GetDimensions()
        rgb = vtk_to_numpy(image.GetPointData().GetScalars()).reshape(h, w, -1)[::-1, :, :3]
        out = self.backdrop * self.shadow(deg)[..., None]
        cover = (rgb[..., 0] | rgb[..., 1] | rgb[..., 2]) > 0
        rows, cols = np.flatnonzero(cover.any(1)), np.flatnonzero(cover.any(0))
        if not len(rows):
            return out
        # Only the object's box has anything to average.
        top, bottom = rows[0] // 2 * 2, rows[-1] // 2 * 2 + 2
        left, right = cols[0] // 2 * 2, cols[-1] // 2 * 2 + 2
        mine = cover[top:bottom, left:right].astype(np.float32)
        light = (rgb[top:bottom, left:right].astype(np.float32) / 255) ** 2
        both = np.concatenate([light * mine[..., None], mine[..., None]], -1)
        both = both.reshape((bottom - top) // 2, 2, (right - left) // 2, 2, 4).mean((1, 3))
        box = out[top // 2 : bottom // 2, left // 2 : right // 2]
        box[:] = both[..., :3] + (1 - both[..., 3:]) * box
        return out


def disc(radius):
    n = int(math.ceil(radius)) + 1
    s = 8
    fine = (np.arange(-(n * s + s // 2), n * s + s // 2 + 1)) / s
    inside = (fine[:, None] ** 2 + fine[None, :] ** 2 <= radius**2).astype(float)
    at = np.clip(np.round(fine).astype(int) + n, 0, 2 * n)
    kernel = np.zeros((2 * n + 1, 2 * n + 1))
    np.add.at(kernel, (at[:, None] + 0 * at[None, :], at[None, :] + 0 * at[:, None]), inside)
    return kernel / kernel.sum()


def convolve(picture, kernel):
    from scipy.signal import fftconvolve

    pad = max(kernel.shape) // 2 + 1
    padded = np.pad(picture, ((pad, pad), (pad, pad), (0, 0)), mode="edge")
    out = np.stack([fftconvolve(padded[..., c], kernel, mode="same") for c in range(3)], -1)
    return out[pad:-pad, pad:-pad]


def develop(linear, rng, noise):
    """Adds sensor noise and codes as 8-bit sRGB."""
    linear = linear.astype(np.float32)
    sigma = noise * np.sqrt(np.maximum(linear, 0) * 0.9 + 0.02)
    noisy = linear + rng.standard_normal(linear.shape, np.float32) * sigma
    return CODES[(noisy.clip(0, 1) * 65535 + 0.5).astype(np.uint16)]


def jpeg(rgb, quality):
    out = io.BytesIO()
    Image.fromarray(rgb).save(out, "JPEG", quality=quality, subsampling=2)
    return out.getvalue()


# ---------------------------------------------------------------- sets


def draw_setup(seed):
    """Draws one set's object, lens, light, stops and faults from its seed."""
    rng = np.random.default_rng(1000 + seed)
    kind = OBJECTS[seed % len(OBJECTS)]
    # The patterns go round so that every object meets most of them over fifty sets.
    turn = (seed // len(OBJECTS) + seed) % 10
    pattern = ["noise", "noise", "speckle", "label", "noise", "plain", "noise", "repeat", "speckle", "bands"][turn]
    if seed in (1, 8):
        pattern = "plain"
    stops = int(rng.choice([12, 24, 24, 36, 36, 72]))
    arc_deg = 360.0 if rng.random() > 0.1 else float(rng.choice([120, 180, 240]))
    if arc_deg < 360:
        stops = max(9, stops // 2)
    distance = float(rng.choice([3.0, 4.5, 7.0, 14.0]))
    fill = float(rng.choice([0.35, 0.62, 0.7, 0.75]))
    tall = {"vase": 1, "mug": 0.8, "bottle": 1, "box": 0.75, "blob": 0.9, "teapot": 1.1, "figure": 1, "bowl": 1.0, "sphere": 0.8, "tall_box": 1.1}[kind]
    setup = {
        "seed": seed,
        "object": kind,
        "pattern": pattern,
        "stops": stops,
        "arc_deg": arc_deg,
        "clockwise": bool(rng.random() < 0.35),
        "distance": distance,
        "focal_heights": fill * distance / tall,
        "tilt_deg": float(rng.choice([0, 5, 12, 20, 35], p=[0.1, 0.2, 0.3, 0.25, 0.15])),
        "aim": float(rng.uniform(0.4, 0.55)),
        "pan_deg": 0.0,
        "roll_deg": float(rng.normal() * 0.7 if rng.random() < 0.7 else 0),
        "off_centre": [float(v) for v in rng.normal(size=2) * rng.choice([0.004, 0.015, 0.05])],
        "gloss": float(rng.choice([0.0, 0.2, 0.5])),
        "falloff": float(rng.uniform(0, 0.25)),
        "background": [float(v) for v in (rng.uniform(0.45, 0.9) * (1 + rng.normal(size=3) * rng.choice([0.01, 0.2])).clip(0.3, 1.1)).clip(0.05, 0.97)],
        "noise": float(rng.choice([0.004, 0.008, 0.015])),
        "quality": int(rng.choice([85, 90, 92, 95])),
        "closing_frame": bool(rng.random() < 0.3 and arc_deg == 360),
        "closure_deg": float(rng.choice([0, 0, 1.787, -0.6, 0.3])) if arc_deg == 360 else 0.0,
        "missing": [],
        "faults": [],
    }
    # The axis stands off the frame's middle by up to 60 px of a 1000-px-high frame.
    setup["pan_deg"] = float(math.degrees(math.atan(rng.normal() * 0.02 / setup["focal_heights"])))
    faults = setup["faults"]
    free = list(range(2, stops - 2))
    rng.shuffle(free)
    def take(gap=2):
        k = int(free[0])
        free[:] = [f for f in free if abs(f - k) > gap]
        return k
    step = arc_deg / stops
    # A third of the sets is clean but for the closure.
    if seed % 3 != 0:
        if rng.random() < 0.6:
            faults.append({"kind": "wrong_angle", "index": take(), "deg": float(rng.choice([-1, 1]) * rng.choice([0.5, 0.8, 1.5, 3.0]))})
        if rng.random() < 0.45:
            faults.append({"kind": "slip", "index": take(), "deg": float(rng.choice([-1, 1]) * rng.choice([0.7, 1.2, 2.5]))})
        wanted = [("defocus", lambda: {"radius_px": float(rng.choice([2, 3, 5]))}),
                  ("motion_blur", lambda: {"px": float(rng.choice([5, 8, 12]))}),
                  ("exposure", lambda: {"ev": float(rng.choice([-1, 1]) * rng.choice([0.15, 0.3, 0.7]))}),
                  ("white_balance", lambda: {"channel": int(rng.integers(3)), "gain": float(1 + rng.choice([-1, 1]) * rng.choice([0.03, 0.06, 0.12]))}),
                  ("duplicate", lambda: {"how": str(rng.choice(["bytes", "encoded", "table_stood"]))})]
        for kind, make in wanted:
            if len(free) > 4 and rng.random() < 0.5:
                faults.append({"kind": kind, "index": take(), **make()})
        if rng.random() < 0.15 and free:
            setup["missing"] = [take(0)]
    return setup


def draw_wide(seed):
    """Draws a set with wider choices and several faults."""
    rng = np.random.default_rng(70_000 + seed)
    kind = MORE_OBJECTS[seed % len(MORE_OBJECTS)]
    pattern = str(rng.choice(["noise", "speckle", "label", "print", "wood", "faint", "repeat", "bands", "plain"],
                             p=[0.24, 0.17, 0.1, 0.12, 0.09, 0.07, 0.08, 0.04, 0.09]))
    width, height = [(1500, 1000), (1000, 1500), (1200, 800), (1200, 1200), (1600, 1200)][int(rng.choice(5, p=[0.5, 0.15, 0.15, 0.1, 0.1]))]
    stops = int(rng.choice([12, 18, 24, 36, 36, 48, 60, 72]))
    arc_deg = 360.0
    if seed in SMALL:
        kind, pattern, stops = SMALL[seed]
        width, height = 1200, 800
    elif rng.random() < 0.1:
        arc_deg = float(rng.choice([90, 150, 200, 270]))
        stops = max(9, stops // 2)
    points = np.concatenate([p for p, _ in build(kind, np.random.default_rng(seed))])
    across, tall = 2 * np.hypot(points[:, 0], points[:, 1]).max(), points[:, 2].max()
    distance = float(rng.choice([2.6, 3.5, 5.0, 8.0, 20.0]))
    tilt_deg = float(rng.choice([0, 8, 15, 25, 40], p=[0.15, 0.25, 0.3, 0.2, 0.1]))
    t = math.radians(tilt_deg)
    seen_tall = tall * math.cos(t) + across * math.sin(t)
    fill = float(rng.uniform(0.45, 0.75))
    near = 1 - across / 2 / distance
    focal = fill * distance * near / max(seen_tall, across * height / width)
    grey = rng.choice([rng.uniform(0.4, 0.85), rng.uniform(0.85, 0.96), rng.uniform(0.05, 0.15)], p=[0.6, 0.25, 0.15])
    setup = {
        "seed": seed, "width": width, "height": height, "object": kind, "pattern": pattern, "stops": stops, "arc_deg": arc_deg,
        "clockwise": bool(rng.random() < 0.4), "distance": distance, "focal_heights": focal, "tilt_deg": tilt_deg,
        "aim": float(rng.uniform(0.4, 0.6)),
        # The axis stands off the frame's middle by up to 8 % of its width.
        "pan_deg": math.degrees(math.atan(rng.uniform(-0.08, 0.08) * width / height / focal)),
        "roll_deg": float(rng.uniform(-2, 2) if rng.random() < 0.7 else 0),
        "off_centre": [float(v) for v in rng.normal(size=2) * rng.choice([0.003, 0.015, 0.06])],
        "gloss": float(rng.choice([0.0, 0.2, 0.5, 0.7])),
        "falloff": float(rng.uniform(0, 0.35)), "gradient": float(rng.choice([0.0, rng.uniform(-0.3, 0.3)])),
        "background": [float(v) for v in (grey * (1 + rng.normal(size=3) * rng.choice([0.01, 0.15])).clip(0.4, 1.05)).clip(0.03, 0.97)],
        "noise": float(rng.choice([0.004, 0.008, 0.015])), "quality": int(rng.choice([82, 88, 92, 96])),
        "closing_frame": bool(rng.random() < 0.35 and arc_deg == 360),
        "closure_deg": float(rng.choice([0, 0.15, 1.787, -0.6, -1.2, 0.9])) if arc_deg == 360 else 0.0,
        "missing": [], "faults": [],
    }
    if seed % 5 == 0:
        return setup
    faults = setup["faults"]
    sign = lambda: float(rng.choice([-1, 1]))
    last = None
    free = list(range(2, stops - 2))
    rng.shuffle(free)

    def take(gap):
        k = int(free[0])
        free[:] = [f for f in free if abs(f - k) > gap]
        return k

    for _ in range(1 + stops // 30):
        if len(free) > 3 and rng.random() < 0.75:
            last = take(2)
            faults.append({"kind": "wrong_angle", "index": last, "deg": sign() * float(rng.choice([0.5, 0.6, 0.9, 1.5, 3.0, 5.0]))})
        if len(free) > 3 and rng.random() < 0.6:
            faults.append({"kind": "slip", "index": take(2), "deg": sign() * float(rng.choice([0.7, 0.9, 1.4, 2.5, 4.0]))})
    wanted = [("defocus", lambda: {"radius_px": float(rng.choice([2, 2.5, 4]))}),
              ("motion_blur", lambda: {"px": float(rng.choice([5, 6, 10]))}),
              ("exposure", lambda: {"ev": sign() * float(rng.choice([0.15, 0.2, 0.5]))}),
              ("white_balance", lambda: {"channel": int(rng.integers(3)), "gain": 1 + sign() * float(rng.choice([0.03, 0.04, 0.1]))}),
              ("duplicate", lambda: {"how": str(rng.choice(["bytes", "encoded", "table_stood"]))})]
    for _ in range(1 + stops // 40):
        for kind, make in wanted:
            if len(free) > 3 and rng.random() < 0.6:
                faults.append({"kind": kind, "index": take(int(rng.choice([0, 1, 2]))), **make()})
    if last is not None and rng.random() < 0.15:
        faults.append({"kind": "exposure", "index": last, "ev": sign() * 0.3})
    if rng.random() < 0.1 and free:
        setup["missing"] = [take(0)]
    return setup


def set_angles(setup):
    """Planned degrees along the plan's direction and true table angles of each stop."""
    stops, arc_deg = setup["stops"], setup["arc_deg"]
    step = arc_deg / stops if arc_deg == 360 else arc_deg / (stops - 1)
    planned = [i * step for i in range(stops)]
    scale = 1 + setup["closure_deg"] / 360
    true = [p * scale for p in planned]
    for fault in setup["faults"]:
        if fault["kind"] == "wrong_angle":
            true[fault["index"]] += fault["deg"]
        if fault["kind"] == "slip":
            for i in range(fault["index"], stops):
                true[i] += fault["deg"]
    if setup["closing_frame"]:
        planned.append(360.0)
        slip = sum(f["deg"] for f in setup["faults"] if f["kind"] == "slip")
        true.append(360.0 * scale + slip)
    return planned, true


def render_set(folder, setup, width, height):
    done = folder / "truth.json"
    if done.exists():
        return
    folder.mkdir(parents=True, exist_ok=True)
    stage = Stage(setup, width, height)
    rng = np.random.default_rng(5000 + setup["seed"])
    planned, true = set_angles(setup)
    sign = -1.0 if setup["clockwise"] else 1.0
    at = {}
    for fault in setup["faults"]:
        at.setdefault(fault["index"], []).append(fault)
    frames, last = [], None
    for i, (plan, deg) in enumerate(zip(planned, true)):
        closing = setup["closing_frame"] and i == len(planned) - 1
        if i in setup["missing"] and not closing:
            continue
        faults = [] if closing else [f for f in at.get(i, []) if f["kind"] != "slip"]
        copy = next((f for f in faults if f["kind"] == "duplicate"), None)
        if copy and last is not None and copy["how"] == "bytes":
            data = last[0]
        elif copy and last is not None and copy["how"] == "encoded":
            data = jpeg(np.asarray(Image.open(io.BytesIO(last[0]))), max(60, setup["quality"] - 7))
        else:
            if copy and last is not None:
                linear = last[1]
            else:
                linear = stage.linear(sign * deg)
            kept = linear
            for f in faults:
                if f["kind"] == "defocus":
                    linear = convolve(linear, disc(f["radius_px"] * max(width, height) / 1500))
                if f["kind"] == "motion_blur":
                    n = f["px"] * max(width, height) / 1500
                    half = int(math.ceil(n / 2))
                    taps = np.clip(n / 2 + 0.5 - np.abs(np.arange(-half, half + 1)), 0, 1)
                    linear = convolve(linear, (taps / taps.sum())[None, :])
                if f["kind"] == "exposure":
                    linear = linear * 2 ** f["ev"]
                if f["kind"] == "white_balance":
                    gain = np.ones(3)
                    gain[f["channel"]] = f["gain"]
                    linear = linear * gain
            data = jpeg(develop(linear, rng, setup["noise"]), setup["quality"])
            last = (data, kept)
        name = f"frame-{i:03}.jpg"
        (folder / name).write_bytes(data)
        if copy:
            deg = frames[-1]["true_degrees"]
        frames.append({"index": i + 1, "file": name, "degrees": plan, "true_degrees": deg, "closing": closing,
                       "faults": [f["kind"] for f in faults]})
    column, lean = stage.axis_truth()
    # The object's middle seen from above: the middle of its outline's bounds is no truth for lopsided
    # solids, so only solids of revolution carry their distance from the axis.
    round_ones = setup["object"] in ROUND
    truth = {"setup": setup, "width": width, "height": height, "axis_column_px": column, "axis_lean_deg": lean,
             "off_centre": setup["off_centre"] if round_ones else None,
             "object_width": float(2 * np.hypot(*(stage.solid[:, :2] - setup["off_centre"]).T).max()),
             "frames": frames}
    done.write_text(json.dumps(truth, indent=1))
    stage.window.Finalize()


def main():
    parser = argparse.ArgumentParser()
    parser.add_argument("folder", type=pathlib.Path)
    parser.add_argument("--suite", choices=["small", "long"])
    parser.add_argument("--sets", type=int, default=12)
    parser.add_argument("--first", type=int, default=0)
    args = parser.parse_args()
    seeds = {"small": list(SMALL), "long": range(1000, 1096), None: range(args.first, args.first + args.sets)}[args.suite]
    for seed in seeds:
        setup = draw_wide(seed) if seed >= 1000 else draw_setup(seed)
        render_set(args.folder / f"set-{seed:03}", setup, setup.get("width", 1500), setup.get("height", 1000))
        print(f"set-{seed:03} {setup['object']} {setup['pattern']} {setup['stops']}", flush=True)


if __name__ == "__main__":
    main()
