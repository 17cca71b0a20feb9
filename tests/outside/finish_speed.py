"""Prints what finishing 24-megapixel frames costs, beside the same steps by libvips' command-line tools.

    python finish_speed.py PROGRAM FOLDER [--stops 72] [--rounds 1]

PROGRAM is the release build of `roundstop`; FOLDER is kept as a cache of the frames, which the program's own simulated
camera draws at 6000 x 4000. In one run, for every frame:

* `roundstop finish --size 2000`: light, outline, axis and all checks of every frame, even exposure and white balance,
  axis upright and in the middle, common crop, resized in linear light, background to white with the shadow kept,
  sharpened, JPEG at quality 95, and a synced file with metadata;
* `vips affine` (the same turn and crop), `vips thumbnail --linear` to 2000 pixels, `vips sharpen` into a JPEG at quality
  95 (Debian: libvips-tools), one thread a process and as many processes at once as there are cores, with what lies
  between the steps in memory (/dev/shm).

The same again at the camera's own scale, without the resizing; and `vipsthumbnail --linear` alone, which neither turns
nor crops nor sharpens, as the least that can be asked. CPU time is user and system time, memory the largest of
`ru_maxrss`. Never an assertion on time: it prints ratios. It fails when finishing takes 1 GiB of memory or more.
"""

import argparse
import concurrent.futures
import json
import math
import os
import pathlib
import shutil
import subprocess
import sys
import tempfile
import time

SIZE = 2000
LIMIT_MIB = 1024


def run(command, **more):
    """Runs a command; gives CPU seconds, wall seconds, peak MiB, what it printed."""
    with tempfile.TemporaryFile() as out:
        start = time.monotonic()
        child = subprocess.Popen([str(c) for c in command], stdout=out, **more)
        _, status, used = os.wait4(child.pid, 0)
        child.returncode = os.waitstatus_to_exitcode(status)
        wall = time.monotonic() - start
        out.seek(0)
        said = out.read().decode()
    return used.ru_utime + used.ru_stime, wall, used.ru_maxrss / 1024, child.returncode, said


def roundstop(program, home, *args, codes=(0,)):
    environment = {**os.environ, "HOME": str(home)}
    cpu, wall, peak, code, said = run([program, *args], env=environment)
    if code not in codes:
        sys.exit(f"roundstop {args[0]} ended with {code}")
    return cpu, wall, peak, said


def make_set(program, folder, stops):
    frames = folder / "set"
    if not (frames / "session.json").exists():
        plan = folder / "plan.json"
        plan.unlink(missing_ok=True)
        roundstop(program, folder, "plan", "new", plan, "--sku", "LH-SPEED", "--stops", stops)
        roundstop(program, folder, "shoot", "--plan", plan, "--into", frames, "--table", "sim", "--camera", "sim", "--sim-speed", "max",
                  "--sim-frame", "6000x4000", codes=(0, 3))
    return frames


def finish(program, folder, frames, size):
    shutil.rmtree(frames / "finished", ignore_errors=True)
    shutil.rmtree(frames / "cache", ignore_errors=True)
    cpu, wall, peak, said = roundstop(program, folder, "finish", frames, "--size", size, "--json")
    return cpu, wall, peak, json.loads(said)


def vips(files, work, place, size):
    """Runs the chain over all files; gives CPU seconds, wall seconds, largest peak MiB."""
    environment = {**os.environ, "VIPS_CONCURRENCY": "1"}
    crop, (px, py) = place["crop"], place["pivot_px"]
    turn = math.radians(place["turn_deg"])
    cos, sin = math.cos(turn), math.sin(turn)
    # Forward from the frame to the straightened frame: turned about the pivot.
    odx, ody = px - cos * px - sin * py, py + sin * px - cos * py
    area = [round(crop[k]) for k in ("left_px", "top_px", "width_px", "height_px")]

    def one(path):
        name = path.stem
        turned, small, out = work / f"{name}-1.v", work / f"{name}-2.v", work / f"{name}.jpg[Q=95,subsample-mode=off]"
        steps = [["vips", "affine", path, turned, f"{cos} {sin} {-sin} {cos}", "--odx", odx, "--ody", ody, "--oarea", " ".join(map(str, area)),
                  "--interpolate", "bicubic"]]
        last = turned
        if size:
            steps.append(["vips", "thumbnail", turned, small, size, "--height", size, "--linear"])
            last = small
        steps.append(["vips", "sharpen", last, out])
        cpu = peak = 0.0
        for step in steps:
            used, _, most, code, said = run(step, env=environment)
            if code:
                sys.exit(f"{step[1]} ended with {code}: {said}")
            cpu, peak = cpu + used, max(peak, most)
        turned.unlink()
        small.unlink(missing_ok=True)
        return cpu, peak

    return in_parallel(one, files)


def thumbnails(files, work):
    environment = {**os.environ, "VIPS_CONCURRENCY": "1"}

    def one(path):
        cpu, _, peak, code, _ = run(["vipsthumbnail", path, "--size", f"{SIZE}x{SIZE}", "--linear", "-o", work / "%s.jpg[Q=95,subsample-mode=off]"], env=environment)
        if code:
            sys.exit(f"vipsthumbnail ended with {code}")
        return cpu, peak

    return in_parallel(one, files)


def in_parallel(one, files):
    start = time.monotonic()
    with concurrent.futures.ThreadPoolExecutor(os.cpu_count()) as pool:
        done = list(pool.map(one, files))
    return sum(d[0] for d in done), time.monotonic() - start, max(d[1] for d in done)


def main():
    parser = argparse.ArgumentParser()
    parser.add_argument("program", type=pathlib.Path)
    parser.add_argument("folder", type=pathlib.Path)
    parser.add_argument("--stops", type=int, default=72)
    parser.add_argument("--rounds", type=int, default=1)
    args = parser.parse_args()
    program, folder = args.program.resolve(), args.folder.resolve()
    folder.mkdir(parents=True, exist_ok=True)
    frames = make_set(program, folder, args.stops)
    files = sorted((frames / "frames").glob("*.jpg"))
    count = len(files)
    mean = sum(f.stat().st_size for f in files) / count / 1e6
    print(f"{count} frames of 24 megapixels, {mean:.1f} MB each, {os.cpu_count()} cores; CPU and wall in ms a frame")
    shared = pathlib.Path("/dev/shm")
    too_much = False
    with tempfile.TemporaryDirectory(dir=shared if shared.is_dir() else folder) as work:
        work = pathlib.Path(work)
        for _ in range(args.rounds):
            for size in (SIZE, "own"):
                cpu, wall, peak, report = finish(program, folder, frames, size)
                made = report["made"]
                if made != count:
                    sys.exit(f"{made} of {count} pictures were made")
                theirs = vips(files, work, report["rows"][0], size if size == SIZE else None)
                what = f"{SIZE} px" if size == SIZE else "own scale"
                say(f"roundstop finish, {what}", cpu, wall, peak, count)
                say(f"vips, same turn, crop and size, {what}", *theirs, count)
                print(f"{'':<44} CPU ratio {cpu / theirs[0]:.2f} (goal: at most 1), wall ratio {wall / theirs[1]:.2f}")
                too_much |= peak >= LIMIT_MIB
            theirs = thumbnails(files, work)
            say("vipsthumbnail --linear alone, 2000 px", *theirs, count)
            cpu, wall, peak, _ = roundstop(program, folder, "check", frames, "--json", codes=(0, 3))
            say("roundstop check", cpu, wall, peak, count)
            too_much |= peak >= LIMIT_MIB
    if too_much:
        sys.exit(f"more than {LIMIT_MIB} MiB of memory were used")


def say(what, cpu, wall, peak, count):
    print(f"{what:<44} CPU {cpu / count * 1e3:7.1f}   wall {wall / count * 1e3:7.1f}   peak {peak:6.0f} MiB", flush=True)


if __name__ == "__main__":
    main()
