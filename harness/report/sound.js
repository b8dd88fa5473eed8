/* Sound: excerpts decoded, laid into loops that join without a click, and played all at once; the
 * one that is heard has its gain up. */

const FADE_S = 0.01;
const EDGE_S = 0.005;

/* All versions of one loop in a context, live or offline. */
class Voices {
  constructor(context, takes, output) {
    this.voices = takes.map((take) => {
      const source = new AudioBufferSourceNode(context, { buffer: take.buffer, loop: true });
      const node = new GainNode(context, { gain: 0 });
      source.connect(node).connect(output);
      return { version: take.version, source, node, from: 0, to: 0, since: 0 };
    });
    this.gains = new Map();
    this.heard = null;
  }

  start(when) {
    this.voices.forEach((voice) => voice.source.start(when));
  }

  stop(when) {
    this.voices.forEach((voice) => {
      this.fade(voice, 0, when);
      voice.source.stop(when + 2 * FADE_S);
    });
  }

  fade(voice, to, when) {
    const share = Math.min(Math.max((when - voice.since) / FADE_S, 0), 1);
    const now = voice.from + share * (voice.to - voice.from);
    const param = voice.node.gain;
    param.cancelScheduledValues(when);
    param.setValueAtTime(now, when);
    param.linearRampToValueAtTime(to, when + FADE_S);
    Object.assign(voice, { from: now, to, since: when });
  }

  /* `gains`: factors by version. */
  hear(version, gains, when) {
    this.gains = gains;
    this.heard = version;
    this.voices.forEach((voice) => {
      const to = voice.version === version ? gains.get(version) : 0;
      if (to !== voice.to) {
        this.fade(voice, to, when);
      }
    });
  }
}

/* A loop of `length` frames from frame `from` of a buffer. Its end fades into what stands ahead of
 * its start; where nothing stands there, both ends fade. */
function loopBuffer(context, buffer, from, length) {
  const loop = new AudioBuffer({
    numberOfChannels: 2, length, sampleRate: buffer.sampleRate,
  });
  const fade = Math.min(Math.round(FADE_S * buffer.sampleRate), Math.floor(length / 2));
  const edge = Math.min(Math.round(EDGE_S * buffer.sampleRate), Math.floor(length / 2));
  for (let channel = 0; channel < 2; channel += 1) {
    const source = buffer.getChannelData(Math.min(channel, buffer.numberOfChannels - 1));
    const data = source.slice(from, from + length);
    for (let n = 0; from >= fade && n < fade; n += 1) {
      const share = (n + 0.5) / fade;
      const at = length - fade + n;
      data[at] = (1 - share) * data[at] + share * source[from - fade + n];
    }
    for (let n = 0; from < fade && n < edge; n += 1) {
      data[n] *= (n + 0.5) / edge;
      data[length - 1 - n] *= (n + 0.5) / edge;
    }
    loop.copyToChannel(data, channel);
  }
  return loop;
}

class Sound {
  constructor(piece) {
    this.piece = piece;
    this.decoded = new Map();
    this.level = 1;
    this.match = "loop";
  }

  open() {
    if (!this.context) {
      try {
        this.context = new AudioContext({ sampleRate: this.piece.rate_hz });
      } catch {
        this.context = new AudioContext();
      }
      this.output = new GainNode(this.context, { gain: this.level });
      this.output.connect(this.context.destination);
    }
  }

  setLevel(db) {
    this.level = Math.pow(10, db / 20);
    if (this.output) {
      this.output.gain.setTargetAtTime(this.level, this.context.currentTime, FADE_S);
    }
  }

  /* The excerpt of a version that holds a loop; null where the page carries none. */
  find(version, loop) {
    const near = 1e-6;
    const holds = (excerpt) => excerpt.version === version &&
      excerpt.place_s <= loop.from_s + near &&
      excerpt.place_s + excerpt.duration_s >= loop.to_s - near;
    const held = this.piece.excerpts.filter(holds);
    return held.find((excerpt) => excerpt.loop === loop.kind) ?? held[0] ?? null;
  }

  powersOf(excerpt, loop) {
    const first = Math.round((loop.from_s - excerpt.place_s) * BLOCKS_A_SECOND);
    const count = Math.round((loop.to_s - loop.from_s) * BLOCKS_A_SECOND);
    return excerpt.block_powers.slice(first, first + count);
  }

  /* What is known of each version in a loop: loudness in LUFS and gain in dB; null where it is not
   * carried. */
  matched(loop) {
    const versions = this.piece.versions.map((version, index) => {
      const excerpt = this.find(index, loop);
      if (!excerpt) {
        return null;
      }
      return this.match === "whole"
        ? version.whole_lufs ?? -Infinity : loudnessOf(this.powersOf(excerpt, loop));
    });
    const there = versions.filter((loudness) => loudness !== null);
    const gains = matchingGains(there);
    return versions.map((loudness) => (loudness === null
      ? null : { loudness, gain: gains.shift() }));
  }

  /* Factors by version: the gain, and what the excerpt was turned down by, taken back. */
  factors(loop) {
    const factors = new Map();
    this.matched(loop).forEach((entry, index) => {
      if (entry) {
        factors.set(index,
          Math.pow(10, entry.gain / 20) / this.piece.versions[index].turned_down_by);
      }
    });
    return factors;
  }

  decode(excerpt) {
    if (!this.decoded.has(excerpt.sound)) {
      const text = atob(document.getElementById(`sound-${excerpt.sound}`).textContent);
      const bytes = Uint8Array.from(text, (letter) => letter.charCodeAt(0));
      this.decoded.set(excerpt.sound, this.context.decodeAudioData(bytes.buffer));
    }
    return this.decoded.get(excerpt.sound);
  }

  /* A take of each version that is carried in the loop. */
  async takes(loop) {
    const wanted = this.piece.versions
      .map((_, version) => ({ version, excerpt: this.find(version, loop) }))
      .filter((take) => take.excerpt);
    return Promise.all(wanted.map(async ({ version, excerpt }) => {
      const buffer = await this.decode(excerpt);
      const frame = (seconds) => Math.round(seconds * buffer.sampleRate);
      const from = Math.min(frame(loop.from_s) - frame(excerpt.place_s), buffer.length - 1);
      const length = Math.min(frame(loop.to_s) - frame(loop.from_s), buffer.length - from);
      return { version, buffer: loopBuffer(this.context, buffer, from, length) };
    }));
  }

  /* Plays a loop; what played before fades away as it begins. */
  async play(loop, version) {
    const asked = Symbol("asked");
    this.asked = asked;
    this.open();
    await this.context.resume();
    const takes = await this.takes(loop);
    if (this.asked !== asked) {
      return;
    }
    const when = this.context.currentTime + 0.02;
    this.voices?.stop(when);
    this.voices = new Voices(this.context, takes, this.output);
    this.voices.start(when);
    this.voices.hear(version, this.factors(loop), when);
    this.started = when;
    this.loop = loop;
  }

  stop() {
    this.asked = null;
    this.voices?.stop(this.context.currentTime);
    this.voices = null;
  }

  hear(version) {
    this.voices?.hear(version, this.factors(this.loop), this.context.currentTime);
  }

  /* Where it plays, in s of the piece; null where it does not. */
  place() {
    if (!this.voices) {
      return null;
    }
    const length = this.loop.to_s - this.loop.from_s;
    const passed = Math.max(this.context.currentTime - this.started, 0);
    return this.loop.from_s + (passed % length);
  }

  /* The same graph without a loudspeaker: `switches` are {at, version}; the channels' samples. */
  async rehearse(loop, switches, seconds) {
    this.open();
    const takes = await this.takes(loop);
    const rate = this.context.sampleRate;
    const context = new OfflineAudioContext(2, Math.round(seconds * rate), rate);
    const voices = new Voices(context, takes, context.destination);
    voices.start(0);
    const factors = this.factors(loop);
    switches.forEach(({ at, version }) => voices.hear(version, factors, at));
    const rendered = await context.startRendering();
    return [rendered.getChannelData(0), rendered.getChannelData(1)];
  }
}
