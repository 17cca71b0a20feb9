"""Prints the CPU time of the checks and thumbnails of 24-megapixel frames against libjpeg-turbo and libvips.

    python speed.py PROGRAM SET     PROGRAM: the built example `check_speed`; SET: a rendered set of 24 or 36 stops

The set's frames are enlarged to 6000 x 4000 with fresh grain. Compared in one run, CPU time (user and
system), a frame: all checks with `djpeg` (libjpeg-turbo, full decode to nowhere), a thumbnail with `vipsthumbnail`
(both from Debian). Never an assertion on time: it prints ratios.
"""

import json
import pathlib
import resource
import subprocess
import sys

import numpy as np
from PIL import Image


def cpu(command, count):
    """CPU seconds a frame of a command, the best of three runs."""
    best = 1e9
    for _ in range(3):
        before = resource.getrusage(resource.RUSAGE_CHILDREN)
        subprocess.run(command, check=True, stdout=subprocess.DEVNULL)
        after = resource.getrusage(resource.RUSAGE_CHILDREN)
        best = min(best, after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime)
    return best / count


def main():
    program, folder = sys.argv[1], pathlib.Path(sys.argv[2])
    truth = json.loads((folder / "truth.json").read_text())
    frames = [f for f in truth["frames"] if not f["closing"]][:12]
    step = frames[1]["degrees"] - frames[0]["degrees"]
    work = folder / "large"
    work.mkdir(exist_ok=True)
    rng = np.random.default_rng(3)
    files = []
    for f in frames:
        path = work / f["file"]
        if not path.exists():
            large = Image.open(folder / f["file"]).resize((6000, 4000), Image.LANCZOS)
            grain = rng.normal(size=(4000, 6000, 1)).astype(np.float32) * 4
            Image.fromarray((np.asarray(large) + grain).clip(0, 255).astype(np.uint8)).save(path, quality=92, subsampling=2)
        files.append(str(path))
    size = sum(pathlib.Path(f).stat().st_size for f in files) / len(files) / 1e6
    print(f"{len(files)} frames of 24 megapixels, {size:.1f} MB each")
    full = cpu(["sh", "-c", 'for f in "$@"; do djpeg -outfile /dev/null "$f"; done', "sh", *files], len(files))
    check = cpu([program, "check", str(step), *files], len(files))
    vips = cpu(["vipsthumbnail", "--size", "320", "-o", str(work.resolve() / "small-%s.jpg"), *files], len(files))
    thumbs = cpu([program, "thumbnails", *files], len(files))
    print(f"full decode, djpeg   {full * 1e3:7.1f} ms")
    print(f"all checks           {check * 1e3:7.1f} ms   ratio {check / full:.2f} (goal: at most 1)")
    print(f"vipsthumbnail        {vips * 1e3:7.1f} ms")
    print(f"thumbnail            {thumbs * 1e3:7.1f} ms   ratio {thumbs / vips:.2f} (goal: at most 1)")


if __name__ == "__main__":
    main()
