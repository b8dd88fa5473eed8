/* Blind mode: two versions behind "first" and "second" in an order that is drawn anew for each
 * answer; a tally, and the odds of doing as well by luck. */

class Blind {
  constructor(player) {
    this.player = player;
    this.running = false;
    const clicked = (id, what) => byId(id).addEventListener("click", what);
    clicked("blind-start", () => this.start());
    clicked("blind-stop", () => this.stop());
    clicked("blind-first", () => this.answer(0));
    clicked("blind-second", () => this.answer(1));
    byId("blind-run").addEventListener("change", (event) => this.hear(Number(event.target.value)));
    const kinds = player.piece.versions.map((version) => version.kind);
    byId("blind-a").value = String(Math.max(kinds.indexOf("mix"), 0));
    byId("blind-b").value = String(Math.max(kinds.indexOf("master"), kinds.length > 1 ? 1 : 0));
  }

  toggle() {
    if (this.running) {
      this.stop();
    } else {
      this.start();
    }
  }

  start() {
    const pair = ["blind-a", "blind-b"].map((id) => Number(byId(id).value));
    const { sound, loop } = this.player;
    if (pair[0] === pair[1] || pair.some((version) => !sound.find(version, loop))) {
      byId("blind-tally").textContent =
        "Choose two different versions that are carried in this loop.";
      return;
    }
    this.pair = pair;
    this.prefers = byId("blind-question").value === "prefer";
    this.counts = [0, 0];
    this.running = true;
    const name = this.player.piece.versions[pair[1]].name;
    byId("blind-ask").textContent = this.prefers
      ? "Which do you prefer?" : `Which one is \u201c${name}\u201d?`;
    byId("blind-tally").textContent = "";
    this.show();
    this.draw();
    document.querySelector("input[name=hidden]").focus();
  }

  show() {
    document.body.classList.toggle("blind", this.running);
    byId("blind-run").hidden = !this.running;
    byId("blind-setup").hidden = this.running;
    byId("versions").hidden = this.running;
    byId("loops").disabled = this.running;
    byId("match").disabled = this.running;
    document.querySelectorAll("button.moment").forEach((button) => {
      button.disabled = this.running || !this.player.piece.moments[Number(button.dataset.moment)];
    });
  }

  /* A new order; the first is heard. */
  draw() {
    const [bit] = crypto.getRandomValues(new Uint8Array(1));
    this.order = bit & 1 ? [1, 0] : [0, 1];
    this.hear(0);
  }

  hear(place) {
    document.querySelectorAll("input[name=hidden]")[place].checked = true;
    this.player.choose(this.pair[this.order[place]]);
  }

  answer(place) {
    if (!this.running) {
      return;
    }
    const chosen = this.order[place];
    this.counts[chosen] += 1;
    const [, right] = this.counts;
    const trials = this.counts[0] + right;
    byId("blind-tally").textContent = this.prefers
      ? `${trials} ${trials === 1 ? "answer" : "answers"}; what they were is shown at the end.`
      : `${chosen === 1 ? "Right" : "Wrong"}: ${this.score(right, trials)}`;
    this.draw();
  }

  score(right, trials) {
    const odds = 100 * oddsByLuck(right, trials);
    return `${right} of ${trials}. By luck alone, as well or better in ${odds.toPrecision(3)} % of tries.`;
  }

  stop() {
    this.running = false;
    this.show();
    this.player.show();
    const trials = this.counts[0] + this.counts[1];
    const names = this.pair.map((version) => this.player.piece.versions[version].name);
    if (this.prefers && trials > 0) {
      const most = Math.max(...this.counts);
      const odds = Math.min(200 * oddsByLuck(most, trials), 100);
      byId("blind-tally").textContent = `${names[0]} ${this.counts[0]}, ${names[1]} ` +
        `${this.counts[1]}. By luck alone, as one-sided in ${odds.toPrecision(3)} % of tries.`;
    } else if (trials > 0) {
      byId("blind-tally").textContent = `At the end: ${this.score(this.counts[1], trials)}`;
    }
    byId("blind-start").focus();
  }

  digit(index, shift) {
    if (index < 2 && shift) {
      this.answer(index);
    } else if (index < 2) {
      this.hear(index);
    }
  }
}
