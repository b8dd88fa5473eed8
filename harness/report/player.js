/* The player's desk: loops, versions, waveform, keys. */

const LEAST_LOOP_S = 1;

function byId(id) {
  return document.getElementById(id);
}

function shownNumber(value, decimals) {
  return Number.isFinite(value) ? value.toFixed(decimals).replace("-", "\u2212") : "\u2013";
}

function shownTime(seconds) {
  const tenths = Math.max(Math.round(seconds * 10), 0);
  const rest = tenths % 600;
  return `${(tenths - rest) / 600}:${(rest / 10).toFixed(1).padStart(4, "0")}`;
}

class Player {
  constructor(piece) {
    this.piece = piece;
    this.sound = new Sound(piece);
    this.version = 0;
    this.before = piece.versions.findIndex((version) => version.kind === "master");
    this.keys = [...document.querySelectorAll("#versions .key")]
      .map((key) => key.textContent.toLowerCase());
    this.moment = -1;
    this.blind = null;
    this.loop = this.loopOf("0");
    this.connect();
    this.show();
  }

  get playing() {
    return Boolean(this.sound.voices || this.sound.asked);
  }

  loopOf(value) {
    const whole = { from_s: 0, to_s: this.piece.measured_s, name: "the whole", kind: -1 };
    return value === "whole" ? whole : { ...this.piece.loops[Number(value)], kind: Number(value) };
  }

  connect() {
    const changed = (id, what) => byId(id).addEventListener("change", what);
    byId("play").addEventListener("click", () => this.toggle());
    byId("level").addEventListener("input", () => this.setLevel());
    changed("match", (event) => this.setMatch(event.target.value));
    changed("versions", (event) => this.choose(Number(event.target.value)));
    changed("loops", (event) => this.loopsChanged(event.target));
    document.addEventListener("keydown", (event) => this.key(event));
    document.querySelectorAll("button.moment").forEach((button) => {
      button.addEventListener("click", () => this.playMoment(Number(button.dataset.moment)));
      button.disabled = !this.piece.moments[Number(button.dataset.moment)];
    });
    this.connectWave();
    this.setLevel();
  }

  /* The waveform: a drag chooses a loop within what is carried, a click begins one there. */
  connectWave() {
    const wave = byId("wave");
    const secondsAt = (event) => {
      const box = wave.getBoundingClientRect();
      const share = Math.min(Math.max((event.clientX - box.left) / box.width, 0), 1);
      return share * this.piece.duration_s;
    };
    wave.addEventListener("pointerdown", (event) => {
      if (event.button !== 0) {
        return;
      }
      wave.setPointerCapture(event.pointerId);
      this.drag = secondsAt(event);
      event.preventDefault();
    });
    wave.addEventListener("pointermove", (event) => {
      if (this.drag !== undefined) {
        this.mark(this.between(this.drag, secondsAt(event)));
      }
    });
    wave.addEventListener("pointerup", (event) => {
      if (this.drag !== undefined) {
        this.setOwn(this.between(this.drag, secondsAt(event)));
        this.drag = undefined;
      }
    });
    wave.addEventListener("pointercancel", () => {
      this.drag = undefined;
      this.mark(this.loop);
    });
  }

  /* A loop between two places, on the grid of 0.1 s, at least LEAST_LOOP_S long, within the excerpt
   * that holds, or is nearest to, the first place. */
  between(first, second) {
    const distance = (excerpt) => Math.max(excerpt.place_s - first,
      first - excerpt.place_s - excerpt.duration_s, 0);
    const own = this.piece.excerpts.filter((excerpt) => excerpt.version === 0);
    const excerpt = own.reduce((best, next) => (distance(next) < distance(best) ? next : best));
    const low = excerpt.place_s;
    const high = excerpt.place_s + excerpt.duration_s;
    const held = (seconds) => Math.min(Math.max(Math.round(seconds * 10) / 10, low), high);
    let from = held(Math.min(first, second));
    let to = held(Math.max(first, second));
    if (to - from < LEAST_LOOP_S) {
      to = Math.min(from + LEAST_LOOP_S, high);
      from = Math.max(Math.min(from, to - LEAST_LOOP_S), low);
    }
    return { from_s: from, to_s: to, name: "own", kind: -1 };
  }

  setOwn(loop) {
    document.querySelector("input[name=loop][value=own]").checked = true;
    this.setLoop(loop);
  }

  loopsChanged(target) {
    if (target.value === "own" && target.name === "loop") {
      this.setOwn({ ...this.loop, name: "own" });
    } else if (target.name === "loop") {
      this.setLoop(this.loopOf(target.value));
    } else {
      this.setOwn(this.between(Number(byId("from").value), Number(byId("to").value)));
    }
  }

  /* Blind, the loop stays: both versions are carried in it. */
  setLoop(loop) {
    if (this.blind?.running) {
      return;
    }
    this.loop = loop;
    this.moment = loop.moment ?? -1;
    this.keepVersion();
    this.show();
    if (this.playing) {
      this.start();
    }
  }

  /* A version that is not carried in the loop cannot stay. */
  keepVersion() {
    if (!this.sound.find(this.version, this.loop)) {
      this.version = this.piece.versions.findIndex((_, n) => this.sound.find(n, this.loop));
    }
  }

  setMatch(value) {
    this.sound.match = value;
    this.show();
    this.sound.hear(this.version);
  }

  setLevel() {
    const db = Number(byId("level").value);
    this.sound.setLevel(db);
    byId("level-shown").textContent = `${shownNumber(db, 0)} dB`;
  }

  choose(version) {
    if (this.sound.find(version, this.loop)) {
      this.before = version === this.version ? this.before : this.version;
      this.version = version;
      this.sound.hear(version);
      this.show();
    }
  }

  async start() {
    try {
      await this.sound.play(this.loop, this.version);
    } catch (problem) {
      byId("state").textContent = `The excerpts cannot be played here: ${problem.message}`;
      this.sound.stop();
    }
    this.show();
    this.follow();
  }

  toggle() {
    if (this.playing) {
      this.sound.stop();
      this.show();
    } else {
      this.start();
    }
  }

  playMoment(index) {
    const moment = this.piece.moments[index];
    if (!moment || this.blind.running) {
      return;
    }
    document.querySelectorAll("input[name=loop]").forEach((input) => {
      input.checked = input.value === "own";
    });
    this.loop = { ...moment, kind: -1, moment: index };
    this.moment = index;
    this.keepVersion();
    this.show();
    this.start();
  }

  /* What the desk shows. In blind mode nothing tells which version is heard. */
  show() {
    byId("play").textContent = this.playing ? "Stop" : "Play";
    byId("play").setAttribute("aria-pressed", String(this.playing));
    byId("from").value = this.loop.from_s.toFixed(1);
    byId("to").value = this.loop.to_s.toFixed(1);
    this.mark(this.loop);
    const matched = this.sound.matched(this.loop);
    document.querySelectorAll("#versions label").forEach((label, index) => {
      const entry = matched[index];
      const input = label.querySelector("input");
      input.disabled = !entry;
      input.checked = index === this.version;
      label.querySelector(".loudness").textContent = entry
        ? `${shownNumber(entry.loudness, 1)} LUFS` : "not carried here";
      label.querySelector(".gain").textContent = entry
        ? `${shownNumber(entry.gain, 2)} dB` : "";
    });
    document.querySelectorAll("button.moment").forEach((button) => {
      button.setAttribute("aria-pressed", String(Number(button.dataset.moment) === this.moment));
    });
  }

  mark(loop) {
    const chosen = byId("chosen");
    chosen.hidden = false;
    chosen.style.left = `${100 * loop.from_s / this.piece.duration_s}%`;
    chosen.style.width = `${100 * (loop.to_s - loop.from_s) / this.piece.duration_s}%`;
  }

  /* Moves the line that shows the place; in steps where motion is unwelcome. */
  follow() {
    const calm = matchMedia("(prefers-reduced-motion: reduce)").matches;
    const step = () => {
      const place = this.sound.place();
      byId("head").hidden = place === null;
      if (place !== null) {
        byId("head").style.left = `${100 * place / this.piece.duration_s}%`;
        byId("clock").textContent = shownTime(place);
        if (calm) {
          setTimeout(step, 500);
        } else {
          requestAnimationFrame(step);
        }
      }
      this.following = place !== null;
    };
    if (!this.following) {
      step();
    }
  }

  nextVersion(by) {
    const count = this.piece.versions.length;
    for (let n = 1; n <= count; n += 1) {
      const next = (this.version + by * n + n * count) % count;
      if (this.sound.find(next, this.loop)) {
        this.choose(next);
        return;
      }
    }
  }

  nextLoop() {
    const inputs = [...document.querySelectorAll("input[name=loop]")]
      .filter((input) => input.value !== "own");
    const at = inputs.findIndex((input) => input.checked);
    const next = inputs[(at + 1) % inputs.length];
    next.checked = true;
    this.setLoop(this.loopOf(next.value));
  }

  key(event) {
    const field = event.target.closest?.("select, textarea, input:not([type=radio]):not([type=checkbox])");
    if (event.ctrlKey || event.altKey || event.metaKey || field || !byId("keys").checked) {
      return;
    }
    const control = event.target.closest?.("button, a, summary, input");
    if (event.key === " " && control) {
      return;
    }
    const actions = {
      " ": () => this.toggle(),
      p: () => this.toggle(),
      l: () => this.nextLoop(),
      m: () => this.playMoment((this.moment + 1) % Math.max(this.piece.moments.length, 1)),
      b: () => this.blind.toggle(),
      x: () => !this.blind.running && this.choose(this.before),
      "[": () => !this.blind.running && this.nextVersion(-1),
      "]": () => !this.blind.running && this.nextVersion(1),
    };
    const digit = /^(?:Digit|Numpad)([0-9])$/.exec(event.code);
    const letter = this.keys.indexOf(event.key.toLowerCase());
    const action = digit ? () => this.digit((Number(digit[1]) + 9) % 10, event.shiftKey)
      : actions[event.key.toLowerCase()] ??
        (letter > 9 && !this.blind.running && (() => this.choose(letter)));
    if (action) {
      event.preventDefault();
      action();
    }
  }

  digit(index, shift) {
    if (this.blind.running) {
      this.blind.digit(index, shift);
    } else if (!shift && index < this.piece.versions.length) {
      this.choose(index);
    }
  }
}
