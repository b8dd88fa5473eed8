#include "harness/host/host.h"
#include "harness/sheet/sheet.h"
#include "tests/unit/cmocka_headers.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* A mistake in a sheet, and where and how it must be told. */
typedef struct {
  const char *text;
  int line;
  int column;
  const char *says;
} Case;

#define HEAD         "planish: 1\n"
#define EIGHT_DEEP   "[[[[[[[["
#define STAGE        "stages: [{stage: test-delay, name: a}]\n"
#define POINTS(text) HEAD STAGE "automation:\n  a.gain: [" text "]\n"
#define SAVED(name)  HEAD "stages:\n  - {stage: test-delay, name: a, preset: " name "}\n"
#define DRIVE        "https://example.org/lv2/drive"

static const Case cases[] = {
    /* the text as a whole */
    {"", 1, 1, "empty sheet"},
    {"# nothing but words\n", 1, 1, "empty sheet"},
    {"just words\n", 1, 1, "must begin with \"planish: 1\""},
    {"- a\n- b\n", 1, 1, "must begin with \"planish: 1\""},
    {STAGE, 1, 1, "must begin with \"planish: 1\""},
    {STAGE HEAD, 1, 1, "must begin with \"planish: 1\""},
    {"planish: 2\n" STAGE, 1, 10, "unknown format"},
    {"planish: one\n" STAGE, 1, 10, "unknown format"},
    {"planish: \"1\"\n" STAGE, 1, 10, "unknown format"},
    {HEAD "stages: [\n", 3, 1, "the text ends where more must come"},
    {HEAD "stages: [{stage: test-delay, name: a},\n", 3, 1, "the text ends where more must come"},
    {HEAD "stages: [{stage: test-delay\n", 2, 10, "a bracket that is not closed: add the }"},
    {HEAD "stages: [{stage: test-delay, name: a]\n", 2, 37, "nor the } of the { on line 2"},
    {HEAD "stages:\n\t- a\n", 3, 1, "a tab: indent by spaces"},
    {HEAD "stages:\n  - stage: a\n\tname: b\n", 4, 1, "a tab: indent by spaces"},
    {HEAD "a: 'x\n", 2, 4, "a quote that is not closed: add the second '"},
    {HEAD "a:\n  - \"x\nb: 1\n", 3, 5, "a quote that is not closed: add the second \""},
    {HEAD "a: \"\\q\"\n", 2, 5, "a backslash with something after it"},
    {HEAD "a: \"\\xq\"\n", 2, 7, "a backslash with something after it"},
    {HEAD "a: @x\n", 2, 4, "cannot begin with @"},
    {HEAD "a: `x\n", 2, 4, "cannot begin with @ or `"},
    {HEAD "a: %x\n", 2, 4, "cannot begin with %"},
    {"%MINE\n---\n" HEAD STAGE, 1, 1, "a line of directions"},
    {"%YAML 9.0\n---\n" HEAD STAGE, 1, 1, "a line of directions"},
    {HEAD "a: b: c\n", 2, 5, "a colon that belongs to no key"},
    {HEAD "a: - b\n", 2, 4, "a hyphen out of place"},
    {HEAD "stages:\n  - stage: a\n   name: b\n", 4, 4, "(line 3: column 3)"},
    {HEAD "a\nb: 1\n", 2, 1, "a key needs a colon"},
    {HEAD STAGE "...\n" HEAD, 4, 1, "no YAML"},
    {HEAD "# \xff\n" STAGE, 2, 3, "save the sheet as UTF-8"},
    {HEAD "# caf\xe9\n" STAGE, 2, 6, "save the sheet as UTF-8"},
    {HEAD "# \xc3\xa9\xc3\xa9 \xed\xa0\x80\n" STAGE, 2, 6, "save the sheet as UTF-8"},
    {"\xef\xbb\xbf" HEAD "# \x07\n" STAGE, 2, 3, "a control character (byte 7)"},
    {"\xef\xbb\xbf# \x7f\n" HEAD STAGE, 1, 3, "a control character (byte 127)"},
    {HEAD STAGE "---\n" HEAD, 3, 1, "second document"},
    {HEAD, 1, 1, "no stages"},
    /* what YAML offers and a sheet has not */
    {HEAD "input: &x {gain: 1}\n" STAGE, 2, 8, "anchor &x"},
    {HEAD "input: {gain: &x 1}\n" STAGE, 2, 15, "anchor &x"},
    {HEAD "input: {gain: *x}\n" STAGE, 2, 15, "alias *x"},
    {HEAD "input: {gain: !!float 1}\n" STAGE, 2, 15, "tag"},
    {HEAD "input: !mine {gain: 1}\n" STAGE, 2, 8, "tag !mine"},
    {HEAD "? [a]\n: b\n" STAGE, 2, 3, "key that is no text"},
    {HEAD "input: {gain: 1}\n" STAGE "input: {gain: 2}\n", 4, 1, "twice, first on line 2"},
    {HEAD "input: {gain: 1, gain: 2}\n" STAGE, 2, 18, "twice"},
    {HEAD "x: [[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[1]]]]]]]]]]]]]]]]]]]]]]]]]]]]]]]]]\n" STAGE, 2, 35,
     "more than 32 levels"},
    {HEAD "stages: [{stage: test-delay, name: \"a\\0b\"}]\n", 2, 36, "a zero byte"},
    {HEAD "stages: [{stage: test-delay, name: abcdefghijklmnopqrstuvwxyz-_ABCDEFGHIJKLM}]\n", 2, 36,
     "at most 40"},
    /* keys at the top and below */
    {HEAD "inputs: {gain: 1}\n" STAGE, 2, 1, "did you mean input?"},
    {HEAD "\"a\\nb\": 1\n" STAGE, 2, 1, "a?b: unknown key"},
    {HEAD "master: 1\n" STAGE, 2, 1, "it takes planish, input"},
    {HEAD "rate: 4410\n" STAGE, 2, 7, "give 8000 to 384000 Hz"},
    {HEAD "input: {loundess: -18}\n" STAGE, 2, 9, "did you mean loudness?"},
    {HEAD "input: 3\n" STAGE, 2, 8, "input: no map"},
    {HEAD "input: {gain: 1, loudness: -18}\n" STAGE, 2, 18, "exclude each other"},
    {HEAD "input: {gain: loud}\n" STAGE, 2, 15, "gain: no number"},
    {HEAD "input: {gain: 1,5}\n" STAGE, 2, 17, "5: behind a comma"},
    {HEAD "input: {gain: \"1\"}\n" STAGE, 2, 15, "gain: no number"},
    {HEAD "input: {gain: .inf}\n" STAGE, 2, 15, "gain: no number"},
    {HEAD "input: {gain: [1]}\n" STAGE, 2, 15, "gain: no number"},
    {HEAD "input: {loudness: 18}\n" STAGE, 2, 19, "give -60 to 0 LUFS"},
    {HEAD "preroll: -1\n" STAGE, 2, 10, "give 0 to 600 s"},
    /* the target */
    {HEAD "target: {loudness: -8}\n" STAGE, 2, 9, "add \"by: NAME.SYMBOL\""},
    {HEAD "target: {loudness: 8, by: a.gain}\n" STAGE, 2, 20, "give -60 to 0 LUFS"},
    {HEAD "target: {ceiling: 1}\n" STAGE, 2, 19, "give -30 to 0 dBTP"},
    {HEAD "target: {by: b.gain}\n" STAGE, 2, 14, "no stage named b"},
    {HEAD "target: {by: a.gian}\n" STAGE, 2, 14, "did you mean gain?"},
    {HEAD "target: {by: gain}\n" STAGE, 2, 14, "give NAME.SYMBOL"},
    {HEAD "target: {by: a.}\n" STAGE, 2, 14, "give NAME.SYMBOL"},
    {HEAD "target: {by: .gain}\n" STAGE, 2, 14, "give NAME.SYMBOL"},
    {HEAD "target: {by: a.width}\n" STAGE, 2, 14, "is in %, a target is reached in dB"},
    {HEAD "target: {ceiling_at: [a.width]}\n" STAGE, 2, 23, "is in %"},
    {HEAD "target: {by: a.gain, ceiling_at: [a.gain]}\n" STAGE, 2, 9, "the same control"},
    {HEAD "target: {by: a.listen}\n" STAGE, 2, 14, "in small steps"},
    {HEAD "target: {by: a.sample_peak}\n" STAGE, 2, 14, "reports it"},
    {HEAD "target: {by: [a.gain]}\n" STAGE, 2, 14, "give NAME.SYMBOL"},
    {HEAD "target: {ceiling_at: a.gain}\n" STAGE, 2, 22, "write [NAME.SYMBOL"},
    {HEAD "target: {ceiling_at: [a.gain, a.gein]}\n" STAGE, 2, 31, "did you mean gain?"},
    {HEAD "target: {ceiling: -25, ceiling_at: [a.gain]}\n" STAGE, 2, 9,
     "out of the range of a.gain"},
    /* stages */
    {HEAD "stages: {stage: test-delay}\n", 2, 9, "stages: no list"},
    {HEAD "stages: []\n", 2, 9, "empty list"},
    {HEAD "stages: [test-delay]\n", 2, 10, "each is a map"},
    {HEAD "stages:\n  - {name: a}\n", 3, 5, "add \"stage:\""},
    {HEAD "stages:\n  - {stage: [x], name: a}\n", 3, 13, "add \"stage:\""},
    {HEAD "stages:\n  - {stage: test-dealy, name: a}\n", 3, 13, "did you mean test-delay?"},
    {HEAD "stages:\n  - {stage: urn:example:x, name: a}\n", 3, 13, "not installed"},
    {HEAD "stages:\n  - {stage: 'a b: c', name: a}\n", 3, 13, "no URI"},
    {HEAD "stages:\n  - {stage: test-needy, name: a}\n", 3, 13, "requires"},
    {HEAD "stages:\n  - {stage: test-delay}\n", 3, 5, "without a name"},
    {HEAD "stages:\n  - {stage: test-delay, name: a b}\n", 3, 31, "not a name"},
    {HEAD "stages:\n  - {stage: test-delay, name: a}\n  - {stage: test-mono, name: a}\n", 4, 30,
     "taken by another stage"},
    /* branches */
    {HEAD "stages:\n  - {branch: a, level: 0}\n", 3, 5, "a branch without stages"},
    {HEAD "stages:\n  - {branch: a, stages: []}\n", 3, 25, "a branch without stages"},
    {HEAD "stages:\n  - {branch: a, stages: x}\n", 3, 25, "stages: no list"},
    {HEAD "stages: " EIGHT_DEEP EIGHT_DEEP EIGHT_DEEP EIGHT_DEEP "\n", 2, 40,
     "more than 32 levels deep: take away what is nested further"},
    {HEAD "stages:\n  - {stages: [{stage: test-delay, name: x}]}\n", 3, 5, "add \"branch:\""},
    {HEAD "stages:\n  - {branch: b b, stages: [{stage: test-delay, name: x}]}\n", 3, 14,
     "branch: not a name"},
    {HEAD "stages:\n  - {branch: x, stages: [{stage: test-delay, name: x}]}\n", 3, 14,
     "taken by another stage"},
    {HEAD "stages:\n  - {branch: b, take: sides, stages: [{stage: test-delay, name: x}]}\n", 3, 23,
     "did you mean side?"},
    {HEAD "stages:\n  - {branch: b, level: 13, stages: [{stage: test-delay, name: x}]}\n", 3, 24,
     "give -60 to 12 dB"},
    {HEAD "stages:\n  - {branch: b, add: all, stages: [{stage: test-delay, name: x}]}\n", 3, 22,
     "give one of result, difference"},
    {HEAD "stages:\n  - {branch: b, levle: 1, stages: [{stage: test-delay, name: x}]}\n", 3, 17,
     "unknown key in a branch: did you mean level?"},
    {HEAD "stages:\n  - {branch: b, stage: test-delay, stages: [{stage: test-delay, name: x}]}\n",
     3, 17, "list it under \"stages:\""},
    {HEAD "stages:\n  - {branch: b, stages: [{branch: c, stages: [{stage: test-dealy, name: x}]}]}"
          "\n",
     3, 55, "did you mean test-delay?"},
    {HEAD "stages:\n  - {branch: b, stages: [{stage: test-delay, name: x}]}\n"
          "automation: {b.take: [{at: 1, value: mid}]}\n",
     4, 14, "cannot be automated"},
    {HEAD "stages:\n  - {branch: b, stages: [{stage: test-delay, name: x}]}\n"
          "target: {by: b.add}\n",
     4, 14, "in small steps"},
    /* values */
    {HEAD "stages:\n  - {stage: test-delay, name: a, gian: 1}\n", 3, 34, "did you mean gain?"},
    {HEAD "stages:\n  - {stage: test-delay, name: a, reverb: 1}\n", 3, 34, "planish stages"},
    {HEAD "stages:\n  - {stage: test-delay, name: a, gain: 1,5}\n", 3, 42, "with a decimal point"},
    {HEAD "stages:\n  - {stage: test-delay, name: a, latency: 1}\n", 3, 34, "reports it"},
    {HEAD "stages:\n  - {stage: test-delay, name: a, in_left: 1}\n", 3, 34, "has its audio there"},
    {HEAD "stages:\n  - {stage: test-delay, name: a, gain: 24.5}\n", 3, 40, "give -24 to 24 dB"},
    {HEAD "stages:\n  - {stage: test-delay, name: a, gain: 3 dB}\n", 3, 40, "no number"},
    {HEAD "stages:\n  - {stage: test-delay, name: a, gain: true}\n", 3, 40, "no number"},
    {HEAD "stages:\n  - {stage: test-delay, name: a, gain: '3'}\n", 3, 40, "no number"},
    {HEAD "stages:\n  - {stage: test-delay, name: a, gain: }\n", 3, 40, "no number"},
    {HEAD "stages:\n  - {stage: test-delay, name: a, gain: {x: 1}}\n", 3, 40, "one value belongs"},
    {HEAD "stages:\n  - {stage: test-delay, name: a, taps: 1.5}\n", 3, 40, "give 1 or 2"},
    {HEAD "stages:\n  - {stage: test-delay, name: a, enabled: 1}\n", 3, 43, "give true or false"},
    {HEAD "stages:\n  - {stage: test-delay, name: a, shape: low self}\n", 3, 41,
     "did you mean low shelf?"},
    {HEAD "stages:\n  - {stage: test-delay, name: a, shape: 7}\n", 3, 41, "give one of off, low"},
    {HEAD "stages:\n  - {stage: test-delay, name: a, shape: 0.5}\n", 3, 41, "unknown choice"},
    {HEAD "stages:\n  - {stage: test-delay, name: a, listen: difference}\n", 3, 42, "--audition"},
    {HEAD "stages:\n  - {stage: test-delay, name: a, shape: '1'}\n", 3, 41, "give one of off, low"},
    {HEAD "stages:\n  - {stage: test-delay, name: a, enabled: 'true'}\n", 3, 43, "without quotes"},
    /* the mix is mended and converted */
    {HEAD "input: {swap: \"true\"}\n" STAGE, 2, 15, "remove the quotes"},
    {HEAD "input: {balence: 1}\n" STAGE, 2, 9, "did you mean balance?"},
    {HEAD "input: {balance: left}\n" STAGE, 2, 18, "balance: no number"},
    {HEAD "input: {balance: -21}\n" STAGE, 2, 18, "give -20 to 20 dB"},
    {HEAD "input: {polarity: inverted}\n" STAGE, 2, 19, "polarity: no map"},
    {HEAD "input: {polarity: {left: invrted}}\n" STAGE, 2, 26, "did you mean inverted?"},
    {HEAD "input: {polarity: {right: -1}}\n" STAGE, 2, 27, "give one of normal, inverted"},
    {HEAD "input: {polarity: {lift: normal}}\n" STAGE, 2, 20, "did you mean left?"},
    {HEAD "input: {polarity: {left: [x]}}\n" STAGE, 2, 26, "where one word belongs"},
    {HEAD "input: {swap: yes}\n" STAGE, 2, 15, "give one of false, true"},
    {HEAD "input: {dc: remvoe}\n" STAGE, 2, 13, "did you mean remove?"},
    {HEAD "input: {dc: true}\n" STAGE, 2, 13, "give one of keep, remove"},
    {HEAD "rate: 44100.5\n" STAGE, 2, 7, "give 44100 or 44101"},
    {HEAD "rate: CD\n" STAGE, 2, 7, "rate: no number"},
    /* presets */
    {SAVED("Lowd"), 3, 42, "did you mean Loud?"},
    {SAVED("Brass band"), 3, 42, "test-delay has no preset Brass band"},
    {SAVED("urn:planish:test-delay:preset:lost"), 3, 42, "has no preset"},
    {SAVED("[x]"), 3, 42, "give the label or the URI"},
    {SAVED("''"), 3, 42, "give the label or the URI"},
    {SAVED("Over its range"), 3, 42, "gain: 99 is out of range: give -24 to 24 dB"},
    {SAVED("From a newer version"), 3, 42, "sets air, which test-delay has not"},
    {SAVED("More than values"), 3, 42, "holds more than values of controls"},
    {HEAD "stages: [{stage: test-mono, name: a, preset: Loud}]\n", 2, 46,
     "test-mono has no preset"},
    /* controls in a map of their own */
    {HEAD "stages: [{stage: test-delay, name: a, controls: 1}]\n", 2, 49, "controls: no map"},
    {HEAD "stages: [{stage: test-delay, name: a, controls: {gian: 1}}]\n", 2, 50,
     "did you mean gain?"},
    {HEAD "stages: [{stage: test-delay, name: a, controls: {gain: 1}, gain: 2}]\n", 2, 60,
     "in the stage and under controls"},
    /* effects that are not of the bundle */
    {HEAD "stages: [{stage: " DRIVE ", name: a, celing: 1}]\n", 2, 58, "did you mean ceiling?"},
    {HEAD "stages: [{stage: " DRIVE ", name: a, ceiling: low}]\n", 2, 67, "give a number"},
    {HEAD "stages: [{stage: " DRIVE ", name: a, ceiling: 1e300}]\n", 2, 67, "out of range"},
    {HEAD "stages: [{stage: " DRIVE ", name: a, off: 3}]\n", 2, 63, "give one of 2, 1, off"},
    {HEAD "stages: [{stage: https://example.org/lv2/tone, name: a}]\n", 2, 18,
     "0 audio inputs and 1 outputs"},
    /* automation */
    {HEAD "automations: {}\n" STAGE, 2, 1, "did you mean automation?"},
    {HEAD STAGE "automation: [a.gain]\n", 3, 13, "automation: no map"},
    {HEAD STAGE "automation: {a.gain: 3}\n", 3, 22, "no list of points"},
    {HEAD STAGE "automation: {a.gain: []}\n", 3, 22, "no list of points"},
    {HEAD STAGE "automation: {gain: [{at: 0, value: 1}]}\n", 3, 14, "give NAME.SYMBOL"},
    {HEAD STAGE "automation: {b.gain: [{at: 0, value: 1}]}\n", 3, 14, "no stage named b"},
    {HEAD STAGE "automation: {a.gian: [{at: 0, value: 1}]}\n", 3, 14, "did you mean gain?"},
    {HEAD STAGE "automation: {a.taps: [{at: 0, value: 1}]}\n", 3, 14, "cannot be automated"},
    {HEAD STAGE "automation: {a.sample_peak: [{at: 0, value: 1}]}\n", 3, 14, "reports it"},
    {HEAD STAGE "automation: {a.gain: [{at: 0, value: 1}], a.gain: [{at: 0, value: 1}]}\n", 3, 43,
     "twice"},
    {HEAD STAGE "target: {by: a.gain}\nautomation: {a.gain: [{at: 0, value: 1}]}\n", 4, 14,
     "the target moves it"},
    {HEAD STAGE "target: {ceiling_at: [a.gain]}\nautomation: {a.gain: [{at: 0, value: 1}]}\n", 4,
     14, "the target moves it"},
    {POINTS("3"), 4, 12, "a point: no map"},
    {POINTS("{at: 1}"), 4, 12, "a point without \"value:\""},
    {POINTS("{value: 1}"), 4, 12, "a point without \"at:\""},
    {POINTS("{at: 1, value: 1, mov: step}"), 4, 30, "did you mean move?"},
    {POINTS("{at: 1, value: 1, move: stpe}"), 4, 36, "did you mean step?"},
    {POINTS("{at: 1, value: 1, move: slowly}"), 4, 36, "give one of straight, step"},
    {POINTS("{at: soon, value: 1}"), 4, 17, "at: no time"},
    {POINTS("{at: -1, value: 1}"), 4, 17, "at: no time"},
    {POINTS("{at: 1:75, value: 1}"), 4, 17, "at: no time"},
    {POINTS("{at: 1.5 frames, value: 1}"), 4, 17, "at: no time"},
    {POINTS("{at: 5 frams, value: 1}"), 4, 17, "at: no time"},
    {POINTS("{at: [1], value: 1}"), 4, 17, "at: no time"},
    {POINTS("{at: 86401, value: 1}"), 4, 17, "give 0 to 86400 s"},
    {POINTS("{at: 1, value: 25}"), 4, 27, "give -24 to 24 dB"},
    {POINTS("{at: 1, value: [1]}"), 4, 27, "one value belongs"},
    {POINTS("{at: 2, value: 1}, {at: 1, value: 1}"), 4, 36, "in order of time"},
    {POINTS("{at: 2, value: 1}, {at: 2, value: 1}"), 4, 36, "only \"move: step\""},
    {POINTS("{at: 2, value: 1}, {at: 99999 frames, value: 1}"), 4, 36, "seconds and frames"},
    {HEAD STAGE "automation: {a.shape: [{at: 1, value: off, move: straight}]}\n", 3, 50,
     "nothing between its values"},
    {HEAD STAGE "automation: {a.shape: [{at: 1, value: of}]}\n", 3, 39, "did you mean off?"},
    {HEAD STAGE "automation: {a.listen: [{at: 1, value: difference}]}\n", 3, 40, "--audition"},
    /* around the mix */
    {HEAD STAGE "head_silense: 1\n", 3, 1, "did you mean head_silence?"},
    {HEAD STAGE "head_silence: a while\n", 3, 15, "head_silence: no time"},
    {HEAD STAGE "head_silence: 61\n", 3, 15, "give 0 to 60 s"},
    {HEAD STAGE "head_silence: 99999999 frames\n", 3, 15, "give 0 to 23040000 frames"},
    {HEAD STAGE "fade_in: [1]\n", 3, 10, "fade_in: no map"},
    {HEAD STAGE "fade_in: 601\n", 3, 10, "give 0 to 600 s"},
    {HEAD STAGE "fade_in: {shape: linear}\n", 3, 10, "a fade without a length"},
    {HEAD STAGE "fade_out: {lenght: 1}\n", 3, 12, "did you mean length?"},
    {HEAD STAGE "fade_out: {length: 1, shape: linaer}\n", 3, 30, "did you mean linear?"},
    {HEAD STAGE "fade_out: {length: 1, shape: round}\n", 3, 30, "linear, equal power, s-shaped"},
    {HEAD STAGE "fade_out: {length: x}\n", 3, 20, "length: no time"},
    {HEAD STAGE "tail: -2\n", 3, 7, "tail: no time"},
    {HEAD STAGE "tail: 601\n", 3, 7, "give 0 to 600 s"},
    {HEAD STAGE "target: {ceiling_at: [a.gain, a.gain]}\n", 3, 31, "stands here twice"},
};

static PlanishHost *host;

static int open_host(void **state)
{
  (void)state;
  PlanishError error = {0};
  host = planish_host_open(&error);
  return host == NULL ? -1 : 0;
}

static int close_host(void **state)
{
  (void)state;
  planish_host_free(host);
  return 0;
}

static PlanishSheet *parse(const char *text, bool audition, PlanishMistakes *mistakes)
{
  return planish_sheet_parse(text, strlen(text), host, audition, mistakes);
}

static void every_mistake_is_told_at_its_place(void **state)
{
  (void)state;
  const size_t count = sizeof cases / sizeof *cases;
  size_t wrong = 0;
  for (size_t n = 0; n < count; ++n) {
    PlanishMistakes mistakes = {0};
    PlanishSheet *sheet = parse(cases[n].text, false, &mistakes);
    const PlanishError *told = mistakes.list;
    if (sheet != NULL || mistakes.count != 1 || told->line != cases[n].line ||
        told->column != cases[n].column || strstr(told->text, cases[n].says) == NULL ||
        strchr(told->text, '\n') != NULL) {
      print_error("%s\nexpected %d:%d %s\n", cases[n].text, cases[n].line, cases[n].column,
                  cases[n].says);
      for (size_t m = 0; m < mistakes.count; ++m) {
        print_error("told     %d:%d %s\n", mistakes.list[m].line, mistakes.list[m].column,
                    mistakes.list[m].text);
      }
      wrong += 1;
    }
    planish_sheet_free(sheet);
    planish_mistakes_free(&mistakes);
  }
  print_message("%zu kinds of mistakes\n", count);
  assert_int_equal(wrong, 0);
}

static void all_mistakes_are_told_in_one_reading(void **state)
{
  (void)state;
  static const char text[] = "planish: 1\n"
                             "inputs: {gain: 0}\n"
                             "target: {loudness: 5, by: a.gian}\n"
                             "stages:\n"
                             "  - {stage: test-delay, name: a, gain: 99, taps: x}\n"
                             "  - {stage: nothing, name: b}\n";
  static const int places[][2] = {{2, 1}, {3, 20}, {3, 27}, {5, 40}, {5, 50}, {6, 13}};
  PlanishMistakes mistakes = {0};
  assert_null(parse(text, false, &mistakes));
  assert_int_equal(mistakes.count, 6);
  for (size_t n = 0; n < 6; ++n) {
    assert_int_equal(mistakes.list[n].line, places[n][0]);
    assert_int_equal(mistakes.list[n].column, places[n][1]);
  }
  planish_mistakes_free(&mistakes);
}

/* A hundred are told, the rest are counted. */
static void too_many_mistakes_are_counted(void **state)
{
  (void)state;
  enum { KEYS = 150 };
  char text[8000] = HEAD STAGE;
  for (int n = 0; n < KEYS; ++n) {
    const size_t used = strlen(text);
    snprintf(text + used, sizeof text - used, "nothing-%d: 1\n", n);
  }
  PlanishMistakes mistakes = {0};
  assert_null(parse(text, false, &mistakes));
  assert_int_equal(mistakes.count, PLANISH_SHEET_MISTAKES);
  assert_int_equal(mistakes.untold, KEYS - PLANISH_SHEET_MISTAKES);
  planish_mistakes_free(&mistakes);
}

/* The first of `points` on, each a second after the one before. */
static char *long_automation(int points)
{
  static const char head[] = HEAD STAGE "automation:\n  a.gain:\n";
  const size_t size = sizeof head + 40 * (size_t)points;
  char *text = malloc(size);
  size_t used = (size_t)snprintf(text, size, "%s", head);
  for (int n = 0; n < points; ++n) {
    used += (size_t)snprintf(text + used, size - used, "  - {at: %d, value: 1}\n", n);
  }
  return text;
}

static void the_longest_list_is_read(void **state)
{
  (void)state;
  for (int more = 0; more <= 1; ++more) {
    char *text = long_automation(PLANISH_SHEET_MEMBERS + more);
    PlanishMistakes mistakes = {0};
    PlanishSheet *sheet = parse(text, false, &mistakes);
    assert_true((sheet != NULL) == (more == 0));
    if (sheet != NULL) {
      assert_int_equal(sheet->automation[0].count, PLANISH_SHEET_MEMBERS);
    } else {
      assert_int_equal(mistakes.list[0].line, 4 + PLANISH_SHEET_MEMBERS + 1);
      assert_non_null(strstr(mistakes.list[0].text, "more than 1000"));
    }
    planish_sheet_free(sheet);
    planish_mistakes_free(&mistakes);
    free(text);
  }
}

static float value_of(const PlanishSheetStage *stage, const char *symbol)
{
  return stage->values[planish_plugin_find(stage->plugin, symbol)];
}

/* The ends of what is allowed are allowed. */
static void the_ends_of_ranges_are_read(void **state)
{
  (void)state;
  static const char text[] =
      HEAD "stages:\n"
           "  - {stage: test-delay, name: abcdefghijklmnopqrstuvwxyz-_ABCDEFGHIJKL, gain: -24}\n"
           "  - {stage: test-delay, name: b, gain: 24}\n"
           "automation:\n"
           "  b.gain: [{at: 0, value: -3}, {at: 0, value: 2, move: step}, {at: 86400, value: 0}]\n"
           "  b.width: [{at: 0, value: 1}, {at: 5 frames, value: 2}]\n"
           "head_silence: 60\nfade_in: 600\nfade_out: 10:00\ntail: 230400000 frames\n";
  PlanishMistakes mistakes = {0};
  PlanishSheet *sheet = parse(text, false, &mistakes);
  assert_non_null(sheet);
  /* The last point of time 0 counts. */
  assert_true(value_of(&sheet->stages[1], "gain") == 2.0f);
  assert_true(sheet->automation[1].points[1].at.in_frames);
  planish_sheet_free(sheet);
  /* To the nearest frame. */
  assert_int_equal(planish_sheet_frames((PlanishSheetTime){.value = 0.9999 / 48000.0}, 48000.0), 1);
  assert_int_equal(planish_sheet_frames((PlanishSheetTime){.value = 0.4999 / 48000.0}, 48000.0), 0);
}

static void a_sheet_is_read_as_it_stands(void **state)
{
  (void)state;
  static const char text[] = "planish: 1\n"
                             "input: {loudness: -18}\n"
                             "preroll: 0\n"
                             "target: {loudness: -8, ceiling: -1.5, by: drive.input_gain,\n"
                             "         ceiling_at: [drive.ceiling, two.ceiling]}\n"
                             "stages:\n"
                             "  - stage: urn:planish:test-delay\n"
                             "    name: late\n"
                             "    taps: 7\n"
                             "    enabled: false\n"
                             "    shape: 4X\n"
                             "    gain: -2.5e0\n"
                             "  - {stage: test-drive, name: drive, input_gain: 3}\n"
                             "  - {stage: test-drive, name: two, ceiling: -0.5}\n";
  PlanishMistakes mistakes = {0};
  PlanishSheet *sheet = parse(text, false, &mistakes);
  assert_int_equal(mistakes.count, 0);
  assert_non_null(sheet);
  assert_int_equal(sheet->input, PLANISH_INPUT_LOUDNESS);
  assert_true(sheet->input_value == -18.0);
  assert_true(sheet->has_preroll && sheet->preroll == 0.0);
  assert_int_equal(sheet->stage_count, 3);
  const PlanishSheetStage *late = &sheet->stages[0];
  assert_string_equal(late->name, "late");
  assert_true(late->values[planish_plugin_find(late->plugin, "taps")] == 7.0f);
  assert_true(late->values[planish_plugin_find(late->plugin, "enabled")] == 0.0f);
  assert_true(late->values[planish_plugin_find(late->plugin, "shape")] == 2.0f);
  assert_true(late->values[planish_plugin_find(late->plugin, "gain")] == -2.5f);
  assert_true(sheet->has_by && sheet->by.stage == 1 && sheet->by.port == 4);
  assert_int_equal(sheet->ceiling_count, 2);
  /* One takes the target's ceiling, the other has its own. */
  assert_true(sheet->stages[1].values[5] == -1.5f);
  assert_true(sheet->stages[2].values[5] == -0.5f);
  planish_sheet_free(sheet);
}

static void what_surrounds_and_moves_is_read_too(void **state)
{
  (void)state;
  static const char text[] =
      "planish: 1\n"
      "input: {gain: -3, balance: 1.5, polarity: {right: inverted}, swap: true, dc: remove}\n"
      "rate: 96000\n"
      "stages: [{stage: test-delay, name: a}, {stage: test-drive, name: b}]\n"
      "automation:\n"
      "  b.input_gain: [{at: 0, value: 3}, {at: 1:23.5, value: -2}, {at: 90, value: 0, move: "
      "step}]\n"
      "  a.shape: [{at: 480 frames, value: 4x}]\n"
      "head_silence: 0.5\nfade_in: 2400 frames\n"
      "fade_out: {length: 1:00, shape: equal power}\ntail: 2.25\n";
  PlanishMistakes mistakes = {0};
  PlanishSheet *sheet = parse(text, false, &mistakes);
  assert_non_null(sheet);
  assert_true(sheet->mending.balance == 1.5 && sheet->mending.swap && sheet->mending.remove_dc &&
              !sheet->mending.invert[0] && sheet->mending.invert[1]);
  assert_true(sheet->input == PLANISH_INPUT_GAIN && sheet->input_value == -3.0);
  assert_true(sheet->rate == 96000.0);
  assert_int_equal(sheet->automation_count, 2);
  const PlanishAutomation *gain = &sheet->automation[0];
  assert_true(gain->control.stage == 1 && gain->control.port == 4 && gain->count == 3);
  assert_true(gain->points[1].at.value == 83.5 && gain->points[1].value == -2.0f);
  assert_true(!gain->points[1].step && gain->points[2].step && !gain->points[1].at.in_frames);
  assert_true(value_of(&sheet->stages[1], "input_gain") == 3.0f);
  const PlanishAutomation *shape = &sheet->automation[1];
  assert_true(shape->points[0].step && shape->points[0].value == 2.0f);
  assert_true(shape->points[0].at.in_frames && shape->points[0].at.value == 480.0);
  assert_int_equal(planish_sheet_frames(sheet->head_silence, 96000.0), 48000);
  assert_int_equal(planish_sheet_frames(sheet->fade_in.length, 96000.0), 2400);
  assert_int_equal(planish_sheet_frames(sheet->fade_out.length, 96000.0), 5760000);
  assert_int_equal(sheet->fade_in.shape, PLANISH_FADE_LINEAR);
  assert_int_equal(sheet->fade_out.shape, PLANISH_FADE_EQUAL_POWER);
  assert_true(sheet->tail.value == 2.25);
  planish_sheet_free(sheet);
}

/* Saved by a host: label in the preset's own file, the stage off, listening on, whole numbers. */
static void presets_are_taken_and_overridden(void **state)
{
  (void)state;
  static const char text[] = "planish: 1\n"
                             "target: {ceiling: -4, ceiling_at: [e.ceiling]}\n"
                             "stages:\n"
                             "  - {stage: test-delay, name: a, preset: late AND quiet}\n"
                             "  - {stage: test-delay, name: b, taps: 9, preset: Loud}\n"
                             "  - {stage: test-delay, name: c, preset: Whole numbers}\n"
                             "  - {stage: test-drive, name: d, preset: "
                             "'urn:planish:test-drive:preset:loud', ceiling: -1}\n"
                             "  - {stage: test-drive, name: e, preset: Loud}\n"
                             "  - {stage: 'https://example.org/lv2/mono', name: f, preset: Half}\n"
                             "  - {stage: 'https://example.org/lv2/drive', name: g, off: 1}\n";
  PlanishMistakes mistakes = {0};
  PlanishSheet *sheet = parse(text, false, &mistakes);
  assert_int_equal(mistakes.count, 0);
  assert_non_null(sheet);
  const PlanishSheetStage *stages = sheet->stages;
  assert_string_equal(stages[0].preset, "late AND quiet");
  assert_true(value_of(&stages[0], "taps") == 777.0f && value_of(&stages[0], "gain") == -6.25f);
  assert_true(value_of(&stages[0], "shape") == 2.0f);
  assert_true(value_of(&stages[0], "enabled") == 1.0f && value_of(&stages[0], "listen") == 0.0f);
  assert_true(value_of(&stages[1], "taps") == 9.0f && value_of(&stages[1], "gain") == 6.0f);
  assert_true(value_of(&stages[2], "taps") == 5.0f && value_of(&stages[2], "gain") == -3.0f);
  assert_true(value_of(&stages[3], "input_gain") == 6.0f);
  assert_true(value_of(&stages[3], "ceiling") == -1.0f);
  /* The target's ceiling goes over a preset's, not over what the sheet names. */
  assert_true(value_of(&stages[4], "ceiling") == -4.0f);
  assert_true(value_of(&stages[5], "gain") == -6.0f);
  /* A label goes before a number: 1 is what the effect calls its value 2. */
  assert_true(value_of(&stages[6], "off") == 2.0f);
  planish_sheet_free(sheet);
}

static void the_command_line_overrides(void **state)
{
  (void)state;
  static const char text[] = "planish: 1\n"
                             "target: {by: d.input_gain, ceiling_at: [d.ceiling]}\n"
                             "stages: [{stage: test-drive, name: d, ceiling: -3}, "
                             "{stage: test-delay, name: l}]\n"
                             "automation: {l.gain: [{at: 1, value: 2}]}\n";
  PlanishMistakes mistakes = {0};
  PlanishSheet *sheet = parse(text, false, &mistakes);
  assert_non_null(sheet);
  PlanishError error = {0};
  assert_true(planish_sheet_set_ceiling(sheet, -2.0, &error));
  assert_true(sheet->stages[0].values[5] == -2.0f && sheet->ceiling == -2.0);
  assert_true(planish_sheet_set_loudness(sheet, -9.0, &error));
  assert_true(planish_sheet_set_control(sheet, "d.input_gain=4.25", false, &error));
  assert_true(sheet->stages[0].values[4] == 4.25f);
  static const char *const bad[] = {"d.input_gain",   "d.input_gian=1",  "e.input_gain=1",
                                    "d.input_gain=x", "d.input_gain=25", "=",
                                    "d.=1",           "l.listen=1"};
  for (size_t n = 0; n < sizeof bad / sizeof *bad; ++n) {
    planish_error_clear(&error);
    assert_false(planish_sheet_set_control(sheet, bad[n], false, &error));
    assert_int_equal(error.outcome, PLANISH_BAD_USE);
  }
  planish_error_clear(&error);
  assert_true(planish_sheet_set_control(sheet, "l.listen=1", true, &error));
  assert_false(planish_sheet_set_ceiling(sheet, -21.0, &error));
  assert_false(planish_sheet_set_ceiling(sheet, 0.1, &error));
  /* What moves by itself stays so; what was named on the command line counts as named. */
  planish_error_clear(&error);
  assert_false(planish_sheet_set_control(sheet, "l.gain=1", false, &error));
  assert_non_null(strstr(error.text, "automates it"));
  const int width = planish_plugin_find(sheet->stages[1].plugin, "width");
  assert_false(sheet->stages[1].given[width]);
  planish_error_clear(&error);
  assert_true(planish_sheet_set_control(sheet, "l.width=100", false, &error));
  assert_true(sheet->stages[1].given[width]);
  assert_false(planish_sheet_set_loudness(sheet, 3.0, &error));
  planish_sheet_free(sheet);
}

static void audition_lets_listening_controls_pass(void **state)
{
  (void)state;
  static const char text[] = HEAD "stages: [{stage: test-delay, name: a, listen: difference}]\n";
  PlanishMistakes mistakes = {0};
  PlanishSheet *sheet = parse(text, true, &mistakes);
  assert_non_null(sheet);
  assert_true(sheet->stages[0].values[9] == 1.0f);
  planish_sheet_free(sheet);
}

/* Something of everything. */
static const char rich[] =
    "planish: 1\ninput: {gain: 3, balance: -1, polarity: {left: inverted}, swap: true}\n"
    "rate: 44100\ntarget: {loudness: -8, by: a.gain, ceiling_at: [b.ceiling]}\n"
    "stages:\n  - {stage: test-delay, name: a, gain: 1, shape: \"low shelf\"}\n"
    "  - {stage: test-drive, name: b, preset: Loud, controls: {ceiling: -1}}\n"
    "automation:\n  b.input_gain: [{at: 0, value: 1}, {at: 1:02.5, value: -3, move: step}]\n"
    "head_silence: 480 frames\nfade_out: {length: 3, shape: s-shaped}\ntail: 2\n";

/* Cut off anywhere, a sheet is either read or refused, never more. */
static void a_sheet_cut_off_anywhere_does_no_harm(void **state)
{
  (void)state;
  for (size_t size = 0; size < sizeof rich; ++size) {
    PlanishMistakes mistakes = {0};
    PlanishSheet *sheet = planish_sheet_parse(rich, size, host, false, &mistakes);
    assert_true((sheet == NULL) == (mistakes.count > 0));
    planish_sheet_free(sheet);
    planish_mistakes_free(&mistakes);
  }
}

/* Letters changed, doubled, dropped at random: no crash, no mistake without a place. */
static void a_garbled_sheet_does_no_harm(void **state)
{
  (void)state;
  static const char letters[] = "{}[],:&*!|>'\"%@`#-?\n\t \\0.a1\xff\x80";
  unsigned seed = 7;
  for (int round = 0; round < 3000; ++round) {
    char garbled[sizeof rich];
    memcpy(garbled, rich, sizeof rich);
    for (int change = 0; change < 1 + round % 4; ++change) {
      seed = seed * 1664525U + 1013904223U;
      garbled[(seed >> 8) % (sizeof rich - 1)] = letters[(seed >> 20) % (sizeof letters - 1)];
    }
    PlanishMistakes mistakes = {0};
    PlanishSheet *sheet = planish_sheet_parse(garbled, sizeof rich - 1, host, false, &mistakes);
    assert_true((sheet == NULL) == (mistakes.count > 0));
    for (size_t n = 0; n < mistakes.count; ++n) {
      assert_true(mistakes.list[n].line > 0 && mistakes.list[n].column > 0);
      assert_null(strchr(mistakes.list[n].text, '\n'));
    }
    planish_sheet_free(sheet);
    planish_mistakes_free(&mistakes);
  }
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(every_mistake_is_told_at_its_place),
      cmocka_unit_test(all_mistakes_are_told_in_one_reading),
      cmocka_unit_test(too_many_mistakes_are_counted),
      cmocka_unit_test(the_longest_list_is_read),
      cmocka_unit_test(the_ends_of_ranges_are_read),
      cmocka_unit_test(a_sheet_is_read_as_it_stands),
      cmocka_unit_test(what_surrounds_and_moves_is_read_too),
      cmocka_unit_test(presets_are_taken_and_overridden),
      cmocka_unit_test(the_command_line_overrides),
      cmocka_unit_test(audition_lets_listening_controls_pass),
      cmocka_unit_test(a_sheet_cut_off_anywhere_does_no_harm),
      cmocka_unit_test(a_garbled_sheet_does_no_harm),
  };
  return cmocka_run_group_tests(tests, open_host, close_host);
}
