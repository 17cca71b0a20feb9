"use strict";
(() => {
  const data = JSON.parse(document.getElementById("data").textContent);
  const stand = document.getElementById("stand");
  const view = document.getElementById("view");
  const mark = document.getElementById("mark");
  const loadedBar = document.getElementById("loaded");
  const said = document.getElementById("said");
  const still = matchMedia("(prefers-reduced-motion: reduce)");

  // Rows from the first shot on; in each, pictures in the order of the turn.
  const rows = [];
  for (const [file, row, degrees] of data.frames) {
    (rows[row] ||= []).push({ file, degrees, image: null, ready: false });
  }
  const kept = rows.filter(Boolean);
  const total = data.frames.length;
  let row = 0;
  // Where the object stands, in pictures; a fraction while it is dragged.
  let place = 0;
  let shown = null;
  let ready = 0;
  if (kept.length > 1) document.getElementById("rows").hidden = false;

  const around = (n, count) => ((n % count) + count) % count;

  // The picture at the place, or the loaded one nearest to it round the turn.
  const nearest = () => {
    const list = kept[row];
    const middle = around(Math.round(place), list.length);
    for (let d = 0; d <= list.length / 2; d++) {
      for (const i of [middle + d, middle - d]) {
        const one = list[around(i, list.length)];
        if (one.ready) return one;
      }
    }
    return null;
  };

  const show = () => {
    const list = kept[row];
    const wanted = list[around(Math.round(place), list.length)];
    const one = nearest();
    if (one && one !== shown) {
      view.src = one.image.src;
      shown = one;
    }
    mark.style.left = (around(place, list.length) / list.length) * 100 + "%";
    stand.setAttribute("aria-valuenow", wanted.degrees);
    const number = list.indexOf(wanted) + 1;
    const height = kept.length > 1 ? `, view ${row + 1} of ${kept.length}` : "";
    stand.setAttribute("aria-valuetext", `${wanted.degrees} degrees, picture ${number} of ${list.length}${height}`);
    stand.dataset.degrees = wanted.degrees;
    stand.dataset.shown = one ? one.degrees : "";
    stand.dataset.row = row;
  };

  const tell = () => {
    if (ready < total) said.textContent = `${ready} of ${total} pictures loaded`;
    else if (said.textContent) said.textContent = "";
    loadedBar.style.width = (ready / total) * 100 + "%";
    stand.dataset.loaded = ready;
  };

  // First the picture in view, then every eighth, fourth, second, then the rest: it turns roughly at once.
  const order = [];
  for (const list of kept) {
    for (const step of [8, 4, 2, 1]) {
      for (let i = 0; i < list.length; i += step) if (!order.includes(list[i])) order.push(list[i]);
    }
  }
  let next = 0;
  const loadOne = () => {
    const one = order[next++];
    if (!one) return;
    one.image = new Image();
    const done = (good) => {
      one.ready = good;
      ready += 1;
      tell();
      show();
      loadOne();
    };
    one.image.onload = () => done(true);
    one.image.onerror = () => done(false);
    one.image.src = one.file;
  };
  for (let i = 0; i < 4; i++) loadOne();

  const turn = (by) => { place += by; show(); };
  const lift = (by) => {
    const to = Math.min(kept.length - 1, Math.max(0, row + by));
    if (to === row) return;
    place = (place / kept[row].length) * kept[to].length;
    row = to;
    show();
  };
  // The near side follows the hand: to the right is anticlockwise seen from above.
  const along = data.clockwise ? -1 : 1;

  let hand = null;
  let speed = 0;
  stand.addEventListener("pointerdown", (event) => {
    if (event.button !== 0) return;
    hand = { id: event.pointerId, x: event.clientX, y: event.clientY, at: event.timeStamp, lifted: 0 };
    speed = 0;
    stand.setPointerCapture(event.pointerId);
    stand.focus({ preventScroll: true });
  });
  stand.addEventListener("pointermove", (event) => {
    if (!hand || event.pointerId !== hand.id) return;
    // Once across the picture is half a turn.
    const by = ((event.clientX - hand.x) / stand.clientWidth) * (kept[row].length / 2) * along;
    const passed = Math.max(1, event.timeStamp - hand.at);
    speed = 0.7 * speed + 0.3 * (by / passed);
    if (kept.length > 1 && event.pointerType === "mouse") {
      const lifted = Math.round((event.clientY - hand.y) / (stand.clientHeight / 4));
      if (lifted !== hand.lifted) { lift(lifted - hand.lifted); hand.lifted = lifted; }
    }
    hand.x = event.clientX;
    hand.at = event.timeStamp;
    turn(by);
  });
  const release = (event) => {
    if (!hand || event.pointerId !== hand.id) return;
    const rested = event.timeStamp - hand.at > 80;
    hand = null;
    if (still.matches || rested) { settle(); return; }
    let last = performance.now();
    const glide = (now) => {
      if (hand) return;
      const passed = now - last;
      last = now;
      turn(speed * passed);
      speed *= Math.exp(-passed / 220);
      if (Math.abs(speed) > 0.0008) requestAnimationFrame(glide);
      else settle();
    };
    requestAnimationFrame(glide);
  };
  const settle = () => { speed = 0; place = Math.round(place); show(); };
  stand.addEventListener("pointerup", release);
  stand.addEventListener("pointercancel", release);

  let wheeled = 0;
  stand.addEventListener("wheel", (event) => {
    event.preventDefault();
    wheeled += (Math.abs(event.deltaX) > Math.abs(event.deltaY) ? event.deltaX : event.deltaY) * along;
    const steps = Math.trunc(wheeled / 40);
    if (steps) { wheeled -= steps * 40; turn(steps); }
  }, { passive: false });

  stand.addEventListener("keydown", (event) => {
    const count = kept[row].length;
    const keys = {
      ArrowRight: () => turn(along),
      ArrowLeft: () => turn(-along),
      ArrowUp: () => lift(1),
      ArrowDown: () => lift(-1),
      PageUp: () => turn((along * count) / 4),
      PageDown: () => turn((-along * count) / 4),
      Home: () => { place = 0; show(); },
      End: () => { place = count - 1; show(); },
    };
    const act = keys[event.key];
    if (!act || event.ctrlKey || event.metaKey || event.altKey) return;
    event.preventDefault();
    speed = 0;
    place = Math.round(place);
    act();
  });

  tell();
  show();
})();
