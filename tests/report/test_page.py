#!/usr/bin/python3
"""The report in a browser: test_page.py MAKE_PAGE. Needs Debian's chromium, chromium-driver,
python3-selenium and ffmpeg; skipped where one is absent."""
import array
import base64
import json
import os
import re
import shutil
import struct
import subprocess
import sys
import tempfile
import time
import unittest

SKIPPED = 77
CHROMIUM, DRIVER = "/usr/bin/chromium", "/usr/bin/chromedriver"
FLAGS = ("--headless --no-sandbox --disable-gpu --disable-quic --no-first-run "
         "--disable-background-networking --disable-component-update --disable-sync").split()


def what_is_missing():
    missing = [path for path in (CHROMIUM, DRIVER) if not os.path.exists(path)]
    missing += [] if shutil.which("ffmpeg") else ["ffmpeg"]
    try:
        import selenium  # noqa: F401
    except ImportError:
        missing.append("python3-selenium")
    return missing


MISSING = what_is_missing()
if MISSING:
    print("skipped, not installed:", ", ".join(MISSING))
    sys.exit(SKIPPED)

from selenium import webdriver  # noqa: E402
from selenium.webdriver.common.action_chains import ActionChains  # noqa: E402
from selenium.webdriver.common.keys import Keys  # noqa: E402

FOLDER = tempfile.mkdtemp(prefix="planish-page-")
PAGE = os.path.join(FOLDER, "page.html")

# What the page's own graph plays, as base64 of interleaved floats.
REHEARSE = """
const [switches, seconds, loop, done] = arguments;
player.sound.rehearse(loop ?? player.loop, switches, seconds).then(([left, right]) => {
  const both = new Float32Array(2 * left.length);
  left.forEach((sample, n) => { both[2 * n] = sample; both[2 * n + 1] = right[n]; });
  const bytes = new Uint8Array(both.buffer);
  let text = "";
  for (let n = 0; n < bytes.length; n += 32768) {
    text += String.fromCharCode(...bytes.subarray(n, n + 32768));
  }
  done(btoa(text));
}, (problem) => done("!" + problem));
"""


def open_browser():
    options = webdriver.ChromeOptions()
    options.binary_location = CHROMIUM
    for flag in [*FLAGS, f"--user-data-dir={FOLDER}/profile"]:
        options.add_argument(flag)
    options.set_capability("goog:loggingPrefs", {"browser": "ALL", "performance": "ALL"})
    browser = webdriver.Chrome(options=options,
                               service=webdriver.chrome.service.Service(DRIVER))
    browser.set_script_timeout(120)
    return browser


def loudness_of(samples, rate):
    """Gated loudness in LUFS, read by ffmpeg (its filter loudnorm measures by EBU R128)."""
    path = os.path.join(FOLDER, "take.wav")
    data = samples.tobytes()
    with open(path, "wb") as file:
        file.write(b"RIFF" + struct.pack("<I", 36 + len(data)) + b"WAVEfmt " +
                   struct.pack("<IHHIIHH", 16, 3, 2, rate, rate * 8, 8, 32) +
                   b"data" + struct.pack("<I", len(data)) + data)
    said = subprocess.run(["ffmpeg", "-nostdin", "-hide_banner", "-i", path, "-af",
                           "loudnorm=print_format=json", "-f", "null", "-"],
                          capture_output=True, text=True, check=True).stderr
    return float(json.loads(said[said.rindex("{"):said.rindex("}") + 1])["input_i"])


class Page(unittest.TestCase):
    @classmethod
    def setUpClass(cls):
        subprocess.run([sys.argv[1], "40", PAGE], check=True)
        cls.browser = open_browser()

    @classmethod
    def tearDownClass(cls):
        cls.browser.quit()

    def setUp(self):
        self.emulate(1440, "light")
        for log in ("browser", "performance"):
            self.browser.get_log(log)
        self.browser.get("file://" + PAGE)

    def emulate(self, width, scheme, media=""):
        self.browser.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", {
            "width": width, "height": 900, "deviceScaleFactor": 1, "mobile": False})
        self.browser.execute_cdp_cmd("Emulation.setEmulatedMedia", {
            "media": media, "features": [{"name": "prefers-color-scheme", "value": scheme}]})

    def run_script(self, script, *arguments):
        return self.browser.execute_script(script, *arguments)

    def press(self, *keys):
        for key in keys:
            ActionChains(self.browser).send_keys(key).perform()

    def wait_for(self, script, seconds=20.0):
        until = time.monotonic() + seconds
        while not self.run_script("return " + script):
            self.assertLess(time.monotonic(), until, script)
            time.sleep(0.05)

    def rehearse(self, switches, seconds, loop=None):
        text = self.browser.execute_async_script(REHEARSE, switches, seconds, loop)
        self.assertFalse(text.startswith("!"), text)
        samples = array.array("f")
        samples.frombytes(base64.b64decode(text))
        return samples

    def test_silent_console_and_network(self):
        self.press("p")
        self.wait_for("player.sound.place() > player.loop.from_s + 0.1")
        self.press("p")
        self.assertEqual(self.browser.get_log("browser"), [])
        asked = []
        for entry in self.browser.get_log("performance"):
            message = json.loads(entry["message"])["message"]
            if message["method"] == "Network.requestWillBeSent":
                asked.append(message["params"]["request"]["url"])
        self.assertTrue(all(url == "file://" + PAGE for url in asked), asked)

    def test_nothing_but_its_own_script_runs(self):
        self.run_script("""
            const script = document.createElement("script");
            script.textContent = "window.foreign = true";
            document.body.append(script);
            const image = new Image();
            image.src = "https://planish.invalid/";
            document.body.append(image);""")
        self.assertIsNone(self.run_script("return window.foreign ?? null"))
        blocked = [entry["message"] for entry in self.browser.get_log("browser")]
        self.assertEqual(sum("Content Security Policy" in text for text in blocked), 2, blocked)
        self.assertEqual(self.run_script("return document.querySelectorAll('b').length"), 0)

    def test_matched_within_a_tenth(self):
        worst = 0.0
        rate = self.run_script("return player.piece.rate_hz")
        loops = self.run_script("return player.piece.loops.map((loop, kind) => ({...loop, kind}))")
        first = loops[0]
        loops.append({"from_s": first["from_s"] + 1.3, "to_s": first["from_s"] + 4.8, "kind": -1})
        for loop in loops:
            matched = self.run_script("return player.sound.matched(arguments[0])", loop)
            there = [n for n, entry in enumerate(matched) if entry]
            self.assertGreaterEqual(len(there), 6 if loop == first else 2)
            self.assertTrue(all(matched[n]["gain"] <= 0.0 for n in there))
            self.assertTrue(any(matched[n]["gain"] == 0.0 for n in there))
            seconds = loop["to_s"] - loop["from_s"]
            read = [loudness_of(self.rehearse([{"at": 0, "version": n}], seconds, loop), rate)
                    for n in there]
            worst = max(worst, max(read) - min(read))
            print(f"loop {loop['from_s']:.1f} to {loop['to_s']:.1f} s:", *read, "LUFS")
        print(f"largest difference between versions {worst:.2f} LU")
        self.assertLess(worst, 0.1)

    def test_matched_over_the_whole(self):
        """As libebur128 would read the whole versions: those of the verdict, to 0.1 LU."""
        self.run_script("""const list = document.getElementById("match"); list.value = "whole";
            list.dispatchEvent(new Event("change"))""")
        matched = self.run_script("return player.sound.matched(player.loop)")
        shown = [float(text) for text in self.run_script(
            """return [...document.querySelectorAll("#verdict tbody tr:first-child td")]
            .map((cell) => cell.textContent.replace("\u2212", "-"))""")]
        for entry, version in zip(matched, self.run_script("return player.piece.versions")):
            self.assertAlmostEqual(entry["loudness"], version["whole_lufs"], places=6)
        # Mix, master, change, reference.
        for version, column in ((0, 0), (4, 1), (5, 3)):
            self.assertAlmostEqual(matched[version]["loudness"], shown[column], delta=0.03)

    def test_switch_is_short_and_at_once(self):
        """Before the switch one version, after it the other, at the same instant of the piece;
        between them under 20 ms, and never quieter there than the quieter of the two."""
        rate = self.run_script("return player.piece.rate_hz")
        mix = self.rehearse([{"at": 0, "version": 0}], 2.0)
        master = self.rehearse([{"at": 0, "version": 4}], 2.0)
        both = self.rehearse([{"at": 0, "version": 0}, {"at": 1.0, "version": 4}], 2.0)
        differs = [n for n in range(len(both)) if abs(both[n] - mix[n]) > 1e-6]
        still = [n for n in range(2000, len(both)) if abs(both[n] - master[n]) > 1e-6]
        begins, ends = differs[0] / 2 / rate, still[-1] / 2 / rate
        print(f"switched from {begins:.4f} to {ends:.4f} s")
        self.assertGreaterEqual(begins, 0.999)
        self.assertLess(ends - begins, 0.02)
        window = range(2 * int(0.995 * rate), 2 * int(1.015 * rate))
        power = [sum(take[n] ** 2 for n in window) for take in (mix, master, both)]
        self.assertGreater(power[2], 0.7 * min(power[:2]))

    def test_keys_alone(self):
        self.press(Keys.TAB)
        self.assertEqual(self.run_script("return document.activeElement.className"), "skip")
        self.assertNotEqual(self.run_script(
            "return getComputedStyle(document.activeElement).outlineStyle"), "none")
        for _ in range(12):
            self.press(Keys.TAB)
            if self.run_script("return document.activeElement.id") == "play":
                break
        self.press(Keys.SPACE)
        self.wait_for("player.sound.place() > player.loop.from_s + 0.1")
        self.assertEqual(self.run_script("return player.sound.context.state"), "running")
        self.press("5")
        self.assertEqual(self.run_script("return player.sound.voices.heard"), 4)
        self.press("[")
        self.assertEqual(self.run_script("return player.sound.voices.heard"), 3)
        self.press("5")
        self.press("x")
        self.assertEqual(self.run_script("return player.sound.voices.heard"), 3)
        self.press("x")
        self.assertEqual(self.run_script("return player.sound.voices.heard"), 4)
        self.press("l")
        self.wait_for("player.sound.loop.kind === 1")
        self.press("m")
        self.wait_for("player.sound.loop.moment === 0")
        self.press("p")
        self.assertTrue(self.run_script("return player.sound.place() === null"))

    def test_each_version_has_a_key_of_its_own(self):
        """As many versions as a long chain has; no letter that does something else."""
        self.run_script("""
            const list = document.getElementById("versions");
            player.keys = [..."1234567890acd"];
            player.piece.versions = Array.from({length: 13}, () => player.piece.versions[0]);
            player.choose = (version) => { window.chosen = version; };""")
        for at, key in enumerate("1234567890acd"):
            self.press(key)
            self.assertEqual(self.run_script("return window.chosen"), at)
        with open(os.path.join(os.path.dirname(PAGE), "page.html"), encoding="utf-8") as page:
            shown = re.findall(r'name="version"[^>]*><span class="key"[^>]*>(.?)</span>',
                               page.read())
        self.assertEqual("".join(shown), "1234567890ACDEFGHIJKNOQRSTUVWYZ"[:len(shown)])

    def test_loop_by_numbers(self):
        self.run_script("document.getElementById('from').focus()")
        start = self.run_script("return player.loop.from_s")
        self.press(Keys.ARROW_UP, Keys.ARROW_UP)
        self.run_script("document.getElementById('to').focus()")
        self.assertAlmostEqual(self.run_script("return player.loop.from_s"), start + 0.2)
        self.assertTrue(self.run_script(
            "return document.querySelector('input[name=loop][value=own]').checked"))

    def test_drag_chooses_within_what_is_carried(self):
        wave = self.browser.find_element("id", "wave")
        width = wave.size["width"]
        where = self.run_script("return player.piece.loops[3]")
        duration = self.run_script("return player.piece.duration_s")
        x = (where["from_s"] + 2.0) / duration * width - width / 2
        ActionChains(self.browser).move_to_element_with_offset(wave, int(x), 0).click_and_hold() \
            .move_by_offset(int(4.0 / duration * width), 0).release().perform()
        loop = self.run_script("return player.loop")
        self.assertAlmostEqual(loop["from_s"], where["from_s"] + 2.0, delta=0.2)
        self.assertAlmostEqual(loop["to_s"], where["from_s"] + 6.0, delta=0.2)
        self.assertEqual(loop["kind"], -1)

    def test_moments_are_a_click_away(self):
        buttons = self.browser.find_elements("css selector", "button.moment")
        self.assertEqual(len(buttons), 10)
        buttons[3].click()
        self.wait_for("player.sound.loop?.moment === 3 && player.sound.place() !== null")
        loop = self.run_script("return player.loop")
        shown = buttons[3].text
        at = int(shown.split(":")[0]) * 60 + float(shown.split(":")[1])
        self.assertTrue(loop["from_s"] <= at <= loop["to_s"], (loop, shown))

    def test_blind(self):
        hidden = "return document.getElementById('versions').offsetParent === null"
        self.press("b")
        self.assertTrue(self.run_script(hidden))
        orders = set()
        for _ in range(24):
            order = self.run_script("return player.blind.order")
            orders.add(tuple(order))
            self.press("2")
            self.assertEqual(self.run_script("return player.version"), [0, 4][order[1]])
            self.run_script("player.blind.digit(arguments[0], true)", order.index(1))
        self.assertEqual(len(orders), 2)
        tally = self.browser.find_element("id", "blind-tally").text
        self.assertTrue(tally.startswith("Right: 24 of 24."), tally)
        self.run_script("player.blind.digit(1 - player.blind.order.indexOf(1), true)")
        self.press("b")
        self.assertFalse(self.run_script(hidden))
        self.assertIn("24 of 25.", self.browser.find_element("id", "blind-tally").text)

    def test_odds(self):
        """Binomial, closed forms: 1/2^n; the half and more; nothing asked."""
        odds = self.run_script("return [[10, 10], [0, 10], [5, 9], [9, 12], [60, 100], [0, 0]]"
                               ".map(([right, trials]) => oddsByLuck(right, trials))")
        wanted = [2.0 ** -10, 1.0, 0.5, (220 + 66 + 12 + 1) / 4096, 0.02844396682049039, 1.0]
        for got, want in zip(odds, wanted):
            self.assertAlmostEqual(got, want, places=12)

    def test_fits_every_width_and_colour(self):
        grounds = set()
        for width in (360, 800, 1440):
            for scheme in ("light", "dark"):
                self.emulate(width, scheme)
                self.assertLessEqual(
                    self.run_script("return document.documentElement.scrollWidth"), width)
                charts = self.run_script("""return [...document.querySelectorAll("svg.chart")]
                    .filter((chart) => chart.getBoundingClientRect().width > 0).length""")
                self.assertEqual(charts, 7)
                grounds.add(self.run_script("return getComputedStyle(document.body).backgroundColor"))
        self.assertEqual(len(grounds), 2)
        self.run_script("""const list = document.getElementById("colours"); list.value = "light";
            list.dispatchEvent(new Event("change"))""")
        self.assertEqual(self.run_script("return getComputedStyle(document.body).backgroundColor"),
                         "rgb(246, 245, 241)")

    def test_named_for_who_cannot_see(self):
        nameless = self.run_script("""
            return [...document.querySelectorAll("input, select, button, svg[role=img]")]
              .filter((element) => !(element.labels?.length || element.textContent.trim() ||
                element.getAttribute("aria-label"))).map((element) => element.outerHTML)""")
        self.assertEqual(nameless, [])
        self.assertEqual(self.run_script("return document.documentElement.lang"), "en")

    def test_prints(self):
        self.emulate(800, "dark", "print")
        self.assertEqual(self.run_script("return getComputedStyle(document.body).backgroundColor"),
                         "rgb(255, 255, 255)")
        self.assertTrue(self.run_script("return document.getElementById('play').offsetParent === null"))
        self.emulate(1440, "light")
        pdf = base64.b64decode(self.browser.execute_cdp_cmd("Page.printToPDF", {})["data"])
        self.assertTrue(pdf.startswith(b"%PDF"))


if __name__ == "__main__":
    result = unittest.main(argv=[sys.argv[0], *sys.argv[2:]], exit=False).result
    shutil.rmtree(FOLDER, ignore_errors=True)
    sys.exit(0 if result.wasSuccessful() else 1)
