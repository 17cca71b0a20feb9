"""Drives an exported web page in headless Chromium.

usage: web_page.py FOLDER CHROMIUM ENDING

ENDING is that of the pictures' names, such as jpg.

The folder is served on loopback by a server that can hold pictures back, and opened from disk as well.
Fails with what went wrong; says what was seen otherwise.
"""

import functools
import http.server
import shutil
import sys
import threading
from pathlib import Path

from playwright.sync_api import sync_playwright

folder, chromium, ending = Path(sys.argv[1]).resolve(), shutil.which(sys.argv[2]), sys.argv[3]
hold = threading.Event()
asked = []


class Slow(http.server.SimpleHTTPRequestHandler):
    """Serves the folder; all pictures but the first wait until `hold` is set."""

    def do_GET(self):
        asked.append(self.path)
        first = self.path.endswith(f"_0_00.{ending}")
        if self.path.endswith(f".{ending}") and not first:
            hold.wait(20)
        super().do_GET()

    def log_message(self, *_):
        pass


server = http.server.ThreadingHTTPServer(("127.0.0.1", 0), functools.partial(Slow, directory=folder))
threading.Thread(target=server.serve_forever, daemon=True).start()
origin = f"http://127.0.0.1:{server.server_port}/"


def check(truth, words):
    if not truth:
        sys.exit(f"the page fails: {words}")


def watch(page, trouble, requests):
    page.on("console", lambda m: trouble.append(m.text) if m.type in ("error", "warning") else None)
    page.on("pageerror", lambda e: trouble.append(str(e)))
    page.on("requestfailed", lambda r: trouble.append(f"failed: {r.url}"))
    page.on("request", lambda r: requests.append(r.url))


def state(page):
    return page.eval_on_selector("#stand", "e => ({...e.dataset, now: e.ariaValueNow ?? e.getAttribute('aria-valuenow'), text: e.getAttribute('aria-valuetext')})")


def rests(page):
    """Waits until the turn has come to rest and its picture is shown."""
    page.wait_for_function("() => { const d = document.getElementById('stand').dataset; return d.shown === d.degrees; }")
    page.wait_for_timeout(700)


with sync_playwright() as play:
    # Its own services are off, and the folder for its user's data is playwright's: new and empty each time.
    quiet = ["--no-sandbox", "--disable-gpu", "--disable-background-networking", "--disable-component-update", "--disable-sync"]
    browser = play.chromium.launch(executable_path=chromium, headless=True, args=quiet)
    trouble, requests = [], []
    page = browser.new_page(viewport={"width": 900, "height": 700})
    watch(page, trouble, requests)
    page.goto(origin, wait_until="domcontentloaded")
    page.wait_for_function("() => document.getElementById('view').naturalWidth > 0")
    loaded = int(state(page)["loaded"])
    check(loaded < 24, f"{loaded} pictures were loaded before the first was seen")
    hold.set()
    page.wait_for_function("() => document.getElementById('stand').dataset.loaded === '24'")
    check(state(page)["degrees"] == "0", "it does not begin at the first picture")

    page.focus("#stand")
    page.keyboard.press("ArrowRight")
    check(state(page)["degrees"] == "30", f"the right key turns to {state(page)['degrees']}")
    page.keyboard.press("ArrowLeft")
    page.keyboard.press("ArrowLeft")
    check(state(page)["degrees"] == "330", "the left key does not turn back past the first")
    check("330 degrees" in state(page)["text"] and "view 1 of 2" in state(page)["text"], state(page)["text"])
    page.keyboard.press("ArrowUp")
    check(state(page)["row"] == "1" and state(page)["degrees"] == "330", "the up key does not change the row")
    rests(page)
    check(f"_1_11.{ending}" in page.get_attribute("#view", "src"), "the picture of the other row is not shown")
    page.keyboard.press("ArrowDown")
    page.keyboard.press("Home")
    check(state(page)["degrees"] == "0", "Home does not go to the first picture")

    box = page.locator("#view").bounding_box()
    x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
    page.mouse.move(x, y)
    page.mouse.down()
    # A sixth of the width is two of twelve pictures' half turn: 30 degrees.
    page.mouse.move(x + box["width"] / 6, y, steps=8)
    page.wait_for_timeout(150)
    page.mouse.up()
    rests(page)
    check(state(page)["degrees"] == "30", f"a drag turns to {state(page)['degrees']}")
    page.mouse.wheel(0, 40)
    page.wait_for_timeout(100)
    check(state(page)["degrees"] == "60", f"the wheel turns to {state(page)['degrees']}")

    page.emulate_media(reduced_motion="reduce")
    page.keyboard.press("Home")
    page.mouse.move(x, y)
    page.mouse.down()
    page.mouse.move(x + box["width"] / 6, y, steps=3)
    page.mouse.up()
    at_release = state(page)["degrees"]
    page.wait_for_timeout(400)
    check(state(page)["degrees"] == at_release, "it glides on although motion is to be reduced")

    check(not trouble, f"the console says {trouble}")
    outside = [u for u in requests if not u.startswith(origin) and not u.startswith("data:")]
    check(not outside, f"it asks elsewhere: {outside}")
    print(f"served: first seen with {loaded} of 24 loaded; {len(requests)} requests, none elsewhere")

    # Whoever gets words into the page cannot make them run: the policy refuses a script it does not name.
    ran = page.evaluate(
        "() => { const s = document.createElement('script'); s.textContent = 'window.ran = true';"
        " document.body.append(s); return window.ran === true; }"
    )
    check(not ran, "the policy lets a foreign script run")
    check(any("Content Security Policy" in t for t in trouble), "the policy says nothing of a foreign script")

    # A finger: playwright's touch has taps only, so the browser's own protocol moves it.
    touch = browser.new_context(has_touch=True, viewport={"width": 420, "height": 700})
    phone = touch.new_page()
    phone.goto(origin)
    phone.wait_for_function("() => document.getElementById('stand').dataset.loaded === '24'")
    box = phone.locator("#view").bounding_box()
    x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
    line = touch.new_cdp_session(phone)
    line.send("Input.dispatchTouchEvent", {"type": "touchStart", "touchPoints": [{"x": x, "y": y}]})
    for i in range(1, 9):
        at = {"x": x + i * box["width"] / 48, "y": y}
        line.send("Input.dispatchTouchEvent", {"type": "touchMove", "touchPoints": [at]})
    phone.wait_for_timeout(150)
    line.send("Input.dispatchTouchEvent", {"type": "touchEnd", "touchPoints": []})
    rests(phone)
    check(state(phone)["degrees"] == "30", f"a swipe turns to {state(phone)['degrees']}")

    # Opened from disk, as someone does who was sent the folder.
    trouble, requests = [], []
    page = browser.new_page()
    watch(page, trouble, requests)
    page.goto((folder / "index.html").as_uri())
    page.wait_for_function("() => document.getElementById('stand').dataset.loaded === '24'")
    page.focus("#stand")
    page.keyboard.press("ArrowRight")
    rests(page)
    check(not trouble, f"opened from disk the console says {trouble}")
    check(f"_0_01.{ending}" in page.get_attribute("#view", "src"), "opened from disk it does not turn")
    check(all(u.startswith(("file:", "data:")) for u in requests), f"opened from disk it asks for {requests}")
    print("from disk: turns, no console message")
    browser.close()
