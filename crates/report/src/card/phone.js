"use strict";
// The field card of one plan, on a phone, without a network.
//
// Everything typed is kept on the device at once, under a key of the plan's
// checksum. Times are taken from a clock that no jump of the calendar clock
// changes; after a reload only the calendar clock is left, and the page says so.
(() => {
  const plan = JSON.parse(document.getElementById("plan").textContent);
  const KEY = "filmproof-field-card-" + plan.plan_sha256;
  const MOST_UNDO = 20;
  const $ = (id) => document.getElementById(id);

  // --- the exposure chain, as our Rust code has it -------------------------

  // t = N²·100/(2^EV·EI)·B, in seconds.
  const metered = (n, ev, ei, bellows) => (n * n * 100) / (Math.pow(2, ev) * ei) * bellows;

  // The stated law, or a reason why it can't answer. Times in seconds.
  const corrected = (law, tm) => {
    if (!law) return { s: tm };
    // 1e-12: an end that was computed back from its own corrected time is still the end.
    if (tm < law.from * (1 - 1e-12) || (law.to !== null && tm > law.to * (1 + 1e-12))) {
      return { refused: "outside the times that the law covers" };
    }
    const s = lawTime(law, tm);
    if (!(s >= tm * (1 - 1e-9))) return { refused: "the law gives a shorter time than the metered one" };
    return { s };
  };

  const lawTime = (law, tm) => {
    switch (law.form) {
      case "threshold_power":
        return tm <= law.t0 ? tm : law.t0 * Math.pow(tm / law.t0, law.p);
      case "fitted_power":
        return law.c * Math.pow(tm, law.p);
      case "additive":
        return tm + law.a * Math.pow(tm, law.b);
      case "modified_schwarzschild": {
        // Newton's steps from ln Tm; see law_equations.rs.
        const logTm = Math.log(tm);
        let x = logTm;
        for (let i = 0; i < 100; i += 1) {
          const softplus = Math.max(x, 0) + Math.log1p(Math.exp(-Math.abs(x)));
          const step = (x + (law.p - 1) * softplus - logTm) / (1 + (law.p - 1) / (1 + Math.exp(-x)));
          x -= step;
          if (Math.abs(step) <= 1e-15 * Math.max(Math.abs(x), 1)) break;
        }
        return Math.exp(x);
      }
      case "hyperbola": {
        const k = Math.log10(tm / law.t0);
        return tm * Math.exp(law.a * Math.LN10 * k * k / (Math.sqrt(k * k + 1) + 1));
      }
      case "hyperbolic_cosine": {
        const x = law.a * Math.abs(Math.log10(tm / law.t0)) * Math.LN10;
        return tm * Math.exp(Math.max(0, x + Math.log1p(Math.exp(-2 * x)) - Math.LN2));
      }
      case "table": {
        const rows = law.rows;
        if (rows[0][0] === rows[0][1] && tm < rows[0][0]) return tm;
        let after = rows.findIndex((row) => row[0] >= tm);
        after = Math.min(Math.max(after < 0 ? rows.length : after, 1), rows.length - 1);
        const [low, high] = [rows[after - 1], rows[after]];
        if (tm === low[0]) return low[1];
        if (tm === high[0]) return high[1];
        const share = Math.log(tm / low[0]) / Math.log(high[0] / low[0]);
        return low[1] * Math.pow(high[1] / low[1], share);
      }
      default:
        return NaN;
    }
  };
  // For those who check this page against the program's own numbers.
  window.filmproofCard = { metered, corrected };

  // --- what is kept --------------------------------------------------------

  let state = { version: 1, entries: {}, undo: [], running: null, dim: false };
  let notKept = "";

  const load = () => {
    let text = null;
    try {
      text = localStorage.getItem(KEY);
    } catch (error) {
      notKept = String(error.message || error);
      return;
    }
    if (text === null) return;
    try {
      const kept = JSON.parse(text);
      if (kept.version !== 1 || typeof kept.entries !== "object") throw new Error("another version");
      state = { ...state, ...kept };
    } catch (error) {
      // Put aside, never thrown away.
      try {
        localStorage.setItem(KEY + "-unread", text);
      } catch (again) {
        notKept = String(again.message || again);
      }
      say("What was kept on this device could not be read; it was put aside (" + error.message + ").");
    }
  };

  const save = () => {
    try {
      localStorage.setItem(KEY, JSON.stringify(state));
      notKept = "";
    } catch (error) {
      notKept = String(error.message || error);
    }
    const alarm = $("alarm");
    alarm.hidden = notKept === "";
    alarm.textContent = notKept === "" ? "" :
      "NOT KEPT on this device (" + notKept + "). Do not close this page: save the log as a file now, or write it down.";
  };

  const entry = (id) => (state.entries[id] ??= {});
  const remember = () => {
    state.undo.push(JSON.stringify(state.entries));
    // Sketches make entries large; the last few steps are enough.
    if (state.undo.length > MOST_UNDO) state.undo.shift();
  };

  // --- words and numbers ---------------------------------------------------

  const make = (name, attributes, ...children) => {
    const node = document.createElement(name);
    for (const [key, value] of Object.entries(attributes || {})) {
      if (key.startsWith("on")) node.addEventListener(key.slice(2), value);
      else if (value === true) node.setAttribute(key, "");
      else if (value !== false && value !== null) node.setAttribute(key, value);
    }
    // Texts become text nodes: what a name holds is never read as HTML.
    node.append(...children.filter((child) => child !== null));
    return node;
  };
  const say = (text) => {
    $("said").textContent = text;
  };
  const time = (s) => {
    if (s < 0.3) return "1/" + Math.round(1 / s) + " s";
    if (s < 10) return s.toFixed(1) + " s";
    if (s < 120) return Math.round(s) + " s";
    const minutes = Math.floor(s / 60);
    return minutes + " min " + String(Math.round(s - 60 * minutes)).padStart(2, "0") + " s";
  };
  const decimal = (text) => {
    const number = Number(String(text).trim().replace(",", "."));
    return String(text).trim() !== "" && Number.isFinite(number) ? number : null;
  };
  // The calendar time with its offset from UTC, as RFC 3339 has it.
  const now = () => {
    const date = new Date();
    const offset = -date.getTimezoneOffset();
    const two = (n) => String(Math.floor(Math.abs(n))).padStart(2, "0");
    return date.getFullYear() + "-" + two(date.getMonth() + 1) + "-" + two(date.getDate()) + "T" +
      two(date.getHours()) + ":" + two(date.getMinutes()) + ":" + two(date.getSeconds()) +
      (offset < 0 ? "-" : "+") + two(offset / 60) + ":" + two(offset % 60);
  };
  const place = (frame) => {
    const typed = entry(frame.id);
    return { holder: typed.holder ?? frame.holder, load: typed.load ?? frame.load };
  };

  // What to set now: as planned, or computed anew when reading or aperture differ.
  const setting = (frame) => {
    const typed = entry(frame.id);
    const n = typed.aperture_f ?? frame.aperture_f;
    const changed = typed.aperture_f !== undefined && typed.aperture_f !== frame.aperture_f ||
      typed.ev100 !== undefined && typed.ev100 !== frame.ev100;
    if (!changed) return { n, s: frame.time_marked_s, planned: true };
    const ev = typed.ev100 ?? frame.ev100;
    if (ev === null || ev === undefined) return { n, s: frame.time_marked_s, planned: true, why: "no reading: the time is the planned one" };
    if (frame.through_filter) return { n, s: frame.time_marked_s, planned: true, why: "the meter reads through the filter: work the time out yourself" };
    const tm = metered(n, ev - frame.placement_stops, frame.ei, frame.bellows);
    if (frame.law_refused) return { n, s: tm, metered: tm, planned: false, why: frame.law_refused };
    const tc = corrected(frame.law, tm);
    if (tc.refused) return { n, s: tm, metered: tm, planned: false, why: tc.refused };
    if (tc.s >= 1) return { n, s: tc.s, metered: tm, planned: false };
    // A shutter has marks: the nearest one is set, and what it leaves over is told.
    const off = (mark) => Math.log2(mark[1] / tc.s);
    const mark = plan.marks.reduce((best, next) => Math.abs(off(next)) < Math.abs(off(best)) ? next : best);
    const over = off(mark);
    return {
      n, s: mark[1], label: mark[0], metered: tm, planned: false, corrected: tc.s,
      over: "nearest mark, " + (over < 0 ? "−" : "+") + Math.abs(over).toFixed(1) + " stops",
    };
  };
  // What was set, once a frame is ticked: typed, or as it was when it was ticked.
  const markedTime = (frame) => entry(frame.id).time_set_s ?? entry(frame.id).time_marked_s ?? setting(frame).s;
  const markLabel = (frame, s) => s === frame.time_marked_s ? frame.time_label :
    (plan.marks.find((mark) => mark[1] === s) || [time(s)])[0];

  // --- the list of frames --------------------------------------------------

  const field = (frame, key, label, attributes, read) => {
    const id = key + "-" + frame.id;
    const typed = entry(frame.id);
    const input = make(attributes.tag || "input", {
      id, "data-field": key, autocomplete: "off", ...attributes.more,
      oninput: (event) => {
        const value = read(event.target.value);
        event.target.setAttribute("aria-invalid", value === null && event.target.value.trim() !== "");
        if (value === null || value === "") delete entry(frame.id)[key];
        else entry(frame.id)[key] = value;
        save();
        refresh();
      },
    });
    input.value = typed[key] ?? attributes.value ?? "";
    return make("label", { for: id }, make("span", {}, label), input);
  };
  // `0.5` or `1/30`.
  const seconds = (text) => {
    const parts = String(text).split("/").map(decimal);
    if (parts.length > 2 || parts.some((part) => part === null || part <= 0)) return null;
    return parts.length === 2 ? parts[0] / parts[1] : parts[0];
  };
  const positive = (text) => {
    const number = decimal(text);
    return number !== null && number > 0 ? number : null;
  };

  const skyField = (frame) => {
    const label = field(frame, "sky", "Sky, sun", { tag: "select" }, (text) => text);
    const select = label.querySelector("select");
    select.append(make("option", { value: "" }, "as planned: " + frame.sky_words));
    for (const [word, words] of plan.skies) select.append(make("option", { value: word }, words));
    select.value = entry(frame.id).sky ?? "";
    return label;
  };

  const sketch = (frame) => {
    const canvas = make("canvas", { width: 320, height: 240, "aria-label": "sketch for frame " + frame.id });
    const context = canvas.getContext("2d");
    const clear = () => {
      context.fillStyle = "#ffffff";
      context.fillRect(0, 0, 320, 240);
    };
    clear();
    context.lineWidth = 3;
    context.lineCap = "round";
    context.strokeStyle = "#000000";
    const kept = entry(frame.id).sketch_png;
    if (kept) {
      const image = new Image();
      image.onload = () => context.drawImage(image, 0, 0);
      image.src = kept;
    }
    const at = (event) => {
      const box = canvas.getBoundingClientRect();
      return [(event.clientX - box.left) * 320 / box.width, (event.clientY - box.top) * 240 / box.height];
    };
    let drawing = false;
    canvas.addEventListener("pointerdown", (event) => {
      drawing = true;
      context.beginPath();
      context.moveTo(...at(event));
      event.preventDefault();
    });
    canvas.addEventListener("pointermove", (event) => {
      if (!drawing) return;
      context.lineTo(...at(event));
      context.stroke();
    });
    const done = () => {
      if (!drawing) return;
      drawing = false;
      entry(frame.id).sketch_png = canvas.toDataURL("image/png");
      save();
    };
    canvas.addEventListener("pointerup", done);
    canvas.addEventListener("pointerleave", done);
    return make("div", { class: "sketch" }, canvas, make("button", {
      type: "button", onclick: () => {
        remember();
        clear();
        delete entry(frame.id).sketch_png;
        save();
        refresh();
      },
    }, "Clear the sketch"));
  };

  const frameNode = (frame) => {
    const camera = frame.kind === "camera";
    const more = make("details", {},
      make("summary", {}, "Reading, sky, remarks, sketch"),
      camera ? field(frame, "ev100", "Reading, EV at ISO 100", { more: { inputmode: "decimal", placeholder: frame.ev100 ?? "" } }, decimal) : null,
      camera ? skyField(frame) : null,
      camera ? field(frame, "aperture_f", "Aperture, f/", { more: { inputmode: "decimal", placeholder: frame.aperture_f } }, positive) : null,
      camera ? field(frame, "time_set_s", "Time set, if another: 1/125, or seconds", {}, seconds) : null,
      camera ? field(frame, "time_actual_s", "Actual time, s", { more: { inputmode: "decimal" } }, positive) : null,
      field(frame, "holder", "Holder side really used", { more: { placeholder: frame.holder ?? "" } }, (text) => text.trim()),
      field(frame, "load", "Loading of that side", { more: { inputmode: "numeric", placeholder: frame.load } }, (text) => {
        const number = positive(text);
        return Number.isInteger(number) ? number : null;
      }),
      field(frame, "remarks", "Remarks", { tag: "textarea", more: { rows: 3 } }, (text) => text.trim()),
      sketch(frame));
    return make("section", { id: "frame-" + frame.id, "data-frame": frame.id },
      make("h2", {}, make("b", { class: "holder" }), " " + frame.id + " · " + frame.role),
      make("p", { class: "film" }, frame.film),
      camera ? make("p", { class: "filter" }, frame.filters) : null,
      make("p", { class: "set" }),
      make("p", { class: "how" }),
      frame.why ? make("p", { class: "why" }, frame.why) : null,
      ...frame.notes.map((note) => make("p", { class: "note" }, note)),
      make("p", { class: "warn", role: "status" }),
      make("div", { class: "buttons" },
        camera ? make("button", { type: "button", class: "time", onclick: () => ask(frame) }) : null,
        make("button", { type: "button", class: "tick", onclick: () => tick(frame) })),
      more);
  };

  const tick = (frame, extra) => {
    remember();
    const typed = entry(frame.id);
    if (typed.exposed) {
      typed.exposed = false;
      delete typed.time_marked_s;
      say("Frame " + frame.id + " is no longer ticked. What was typed is kept.");
    } else {
      typed.exposed = true;
      typed.exposed_at ??= now();
      if (frame.kind === "camera") typed.time_marked_s = setting(frame).s;
      Object.assign(typed, extra || {});
      say("Frame " + frame.id + " is ticked as exposed.");
    }
    save();
    refresh();
  };

  const used = () => {
    const sides = new Map();
    for (const frame of plan.frames) {
      const { holder, load } = place(frame);
      if (!holder || !entry(frame.id).exposed) continue;
      const key = holder.trim().toLowerCase() + " / " + load;
      sides.set(key, [...(sides.get(key) || []), frame.id]);
    }
    return sides;
  };

  const refresh = () => {
    const sides = used();
    let ticked = 0;
    for (const frame of plan.frames) {
      const node = $("frame-" + frame.id);
      const typed = entry(frame.id);
      const { holder, load } = place(frame);
      node.classList.toggle("done", Boolean(typed.exposed));
      ticked += typed.exposed ? 1 : 0;
      node.querySelector(".holder").textContent = (holder ?? "no holder") + (load > 1 ? " (loading " + load + ")" : "");
      const set = node.querySelector(".set");
      const how = node.querySelector(".how");
      if (frame.kind === "camera") {
        const now = setting(frame);
        const set_s = typed.exposed ? markedTime(frame) : typed.time_set_s ?? now.s;
        set.textContent = "f/" + Number(now.n.toPrecision(3)) + "  " + markLabel(frame, set_s);
        how.textContent = [
          "EI " + Number(frame.ei.toPrecision(3)),
          now.planned ? frame.times_words : "new: metered " + time(now.metered) + (now.why ? "" : ", corrected " + time(now.corrected ?? now.s)),
          now.over ?? "", now.why ?? "", frame.shutter_words,
        ].filter((text) => text).join(" · ");
        const button = node.querySelector(".time");
        button.textContent = now.s >= 1 ? "Count " + time(now.s) : "Time by hand";
      } else {
        set.textContent = frame.kind === "tablet" ? "through tablet " + frame.tablet : "do not expose";
        how.textContent = frame.kind === "tablet" ? "" : "Load it, keep the slide in, develop it with the others: base+fog.";
      }
      const warnings = [];
      const key = (holder ?? "").trim().toLowerCase() + " / " + load;
      const others = (sides.get(key) || []).filter((id) => id !== frame.id);
      if (typed.exposed && others.length > 0) warnings.push("Holder side " + holder + " is used twice: frame " + others.join(", ") + ". Loaded again? Then raise “Loading”.");
      if (typed.exposed && frame.kind === "camera" && typed.ev100 === undefined) {
        const changed = typed.sky && typed.sky !== frame.sky;
        if (frame.ev100 === null || changed) warnings.push("The reading is missing.");
      }
      node.querySelector(".warn").textContent = warnings.join(" ");
      const button = node.querySelector(".tick");
      button.textContent = typed.exposed ? "✓ Exposed — untick" : frame.kind === "none" ? "Loaded, kept dark" : "Tick as exposed";
      button.setAttribute("aria-pressed", Boolean(typed.exposed));
    }
    $("count").textContent = ticked + " of " + plan.frames.length + " done";
    $("undo").disabled = state.undo.length === 0;
    document.documentElement.classList.toggle("dim", state.dim);
    $("dim").setAttribute("aria-pressed", state.dim);
    $("text").value = logText();
  };

  // --- counting a long time ------------------------------------------------

  let wakeLock = null;
  const keepAwake = async () => {
    try {
      wakeLock = await navigator.wakeLock.request("screen");
    } catch {
      // Not every browser or battery allows it; the count goes on without.
      wakeLock = null;
    }
  };
  let run = null;

  const ask = (frame) => {
    const s = entry(frame.id).time_set_s ?? setting(frame).s;
    $("asked").textContent = "Frame " + frame.id + ", " + (place(frame).holder ?? "no holder");
    $("target").textContent = time(s);
    $("dial").hidden = true;
    $("checks").hidden = false;
    $("go").textContent = "Lens opens NOW — count";
    $("go").onclick = () => begin(frame, s, performance.now(), Date.now());
    $("counter").showModal();
  };

  const begin = (frame, s, from, wall) => {
    run = { frame, s, from, wall, startedAt: now(), rang: false };
    state.running = { id: frame.id, s, wall, startedAt: run.startedAt };
    save();
    keepAwake();
    $("checks").hidden = true;
    $("dial").hidden = false;
    $("go").textContent = "Lens closed NOW — stop";
    $("go").onclick = end;
    if (!$("counter").open) $("counter").showModal();
    turn();
  };

  // Seconds since the start by the steady clock.
  const elapsed = () => (performance.now() - run.from) / 1000;

  const turn = () => {
    if (!run) return;
    const gone = elapsed();
    const left = run.s - gone;
    $("left").textContent = left > 0 ? (left < 60 ? left.toFixed(1) : time(left)) : "CLOSE";
    $("gone").textContent = gone.toFixed(1) + " s since the start, of " + time(run.s);
    $("counter").classList.toggle("over", left <= 0);
    const jump = (Date.now() - run.wall) / 1000 - gone;
    $("jump").textContent = Math.abs(jump) > 2 && !run.restored ? "The clock of this device jumped by " + jump.toFixed(0) + " s; the count goes on as it was." : run.restored ? "The page was loaded anew: the count relies on the device's clock." : "";
    if (left <= 0 && !run.rang) {
      run.rang = true;
      if (navigator.vibrate) navigator.vibrate([400, 150, 400]);
    }
    requestAnimationFrame(turn);
  };

  const end = () => {
    const actual = Math.round(elapsed() * 100) / 100;
    const { frame, startedAt, s } = run;
    stop();
    remember();
    Object.assign(entry(frame.id), { exposed: true, exposed_at: startedAt, time_marked_s: s, time_actual_s: actual });
    delete entry(frame.id).time_set_s;
    say("Frame " + frame.id + " got " + actual + " s.");
    save();
    build();
  };
  const stop = () => {
    run = null;
    state.running = null;
    if (wakeLock) wakeLock.release();
    wakeLock = null;
    $("counter").classList.remove("over");
    if ($("counter").open) $("counter").close();
  };

  // --- the log as a file ---------------------------------------------------

  const KEYS = ["holder", "load", "aperture_f", "time_marked_s", "time_actual_s", "ev100", "sky", "exposed_at", "remarks", "sketch_png"];
  const log = () => ({
    format: "filmproof field log",
    version: 1,
    plan_sha256: plan.plan_sha256,
    test: plan.title,
    exported_at: now(),
    frames: plan.frames.filter((frame) => Object.keys(entry(frame.id)).length > 0).map((frame) => {
      const typed = entry(frame.id);
      const line = { frame: frame.id, exposed: Boolean(typed.exposed) };
      for (const key of KEYS) if (typed[key] !== undefined) line[key] = typed[key];
      if (typed.time_set_s !== undefined) line.time_marked_s = typed.time_set_s;
      return line;
    }),
  });
  const logText = () => JSON.stringify(log(), null, 1);

  const build = () => {
    $("frames").replaceChildren(...plan.frames.map(frameNode));
    refresh();
  };

  $("save").addEventListener("click", () => {
    const link = make("a", { download: "field-log.json", href: URL.createObjectURL(new Blob([logText()], { type: "application/json" })) });
    document.body.append(link);
    link.click();
    link.remove();
    say("The log was handed to the browser as field-log.json. No file? Copy the text below.");
  });
  $("copy").addEventListener("click", async () => {
    $("text").select();
    try {
      await navigator.clipboard.writeText($("text").value);
      say("The log is copied as text.");
    } catch {
      say("Copy the marked text by hand: this browser does not let the page do it.");
    }
  });
  $("undo").addEventListener("click", () => {
    const before = state.undo.pop();
    if (before === undefined) return;
    state.entries = JSON.parse(before);
    save();
    build();
    say("The last step is undone.");
  });
  $("dim").addEventListener("click", () => {
    state.dim = !state.dim;
    save();
    refresh();
  });
  $("break").addEventListener("click", () => {
    stop();
    save();
    say("The count was broken off; nothing is ticked.");
  });
  $("counter").addEventListener("cancel", (event) => event.preventDefault());

  load();
  save();
  build();
  if (state.running) {
    const frame = plan.frames.find((known) => known.id === state.running.id);
    const since = Date.now() - state.running.wall;
    if (frame && since >= 0 && since < 24 * 3600 * 1000) {
      const { s, wall, startedAt } = state.running;
      begin(frame, s, performance.now() - since, wall);
      run.startedAt = startedAt;
      run.restored = true;
    } else {
      state.running = null;
      save();
    }
  }
  document.documentElement.dataset.ready = "1";
})();
