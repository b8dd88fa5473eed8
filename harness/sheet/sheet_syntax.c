#include "harness/sheet/sheet_syntax.h"

#include <string.h>

/* A place in the text. */
typedef struct {
  int line; /* both from 1 */
  int column;
  int byte; /* what stands there; -1: the end of the text */
} Place;

static bool is_continuation(char byte)
{
  return ((unsigned char)byte & 0xc0) == 0x80;
}

static bool has_mark(const char *text, size_t size)
{
  return size >= 3 && memcmp(text, "\xef\xbb\xbf", 3) == 0;
}

/* The parser counts characters; a mark at the beginning of the text is none. */
static int byte_at(const char *text, size_t size, size_t index)
{
  size_t at = has_mark(text, size) ? 3 : 0;
  for (size_t n = 0; at < size; ++at) {
    if (is_continuation(text[at])) {
      continue;
    }
    if (n == index) {
      return (unsigned char)text[at];
    }
    n += 1;
  }
  return -1;
}

static Place place_of(const yaml_mark_t *mark, const char *text, size_t size)
{
  return (Place){(int)mark->line + 1, (int)mark->column + 1, byte_at(text, size, mark->index)};
}

/* Where the character begins that the reader stopped in: it may tell of a later byte of it. */
static size_t begin_of(const char *text, size_t size, size_t offset)
{
  size_t at = offset < size ? offset : size;
  for (size_t back = 1; back <= 3 && back <= at; ++back) {
    const unsigned char lead = (unsigned char)text[at - back];
    const size_t length = lead >= 0xf0 ? 4 : (lead >= 0xe0 ? 3 : (lead >= 0xc0 ? 2 : 1));
    if (length > back) {
      return at - back;
    }
    if (!is_continuation((char)lead)) {
      break;
    }
  }
  return at;
}

/* A byte that no text has: the reader counts bytes, not lines. */
static void tell_byte(const yaml_parser_t *parser, const char *text, size_t size,
                      PlanishMistakes *mistakes)
{
  const size_t at = begin_of(text, size, parser->problem_offset);
  int line = 1;
  int column = 1;
  for (size_t n = has_mark(text, size) ? 3 : 0; n < at; ++n) {
    column += is_continuation(text[n]) ? 0 : 1;
    if (text[n] == '\n') {
      line += 1;
      column = 1;
    }
  }
  const unsigned byte = at < size ? (unsigned char)text[at] : 0;
  if (byte < 0x80) {
    planish_mistake(mistakes, line, column,
                    "no YAML: a control character (byte %u): remove it; if there are many, this is "
                    "no text",
                    byte);
  } else {
    planish_mistake(mistakes, line, column,
                    "no YAML: a character that is no UTF-8, or that YAML does not allow: save the "
                    "%s as UTF-8",
                    planish_mistakes_kind(mistakes)->name);
  }
}

static char closing(int opening)
{
  return opening == '{' ? '}' : ']';
}

/* What was opened, in flow style or in quotes, and is wrong before it was closed. */
static bool tell_open(const Place *at, const Place *open, PlanishMistakes *mistakes)
{
  const bool quote = open->byte == '"' || open->byte == '\'';
  /* Only the end of the text or of a document, on a line of its own, ends the search for it. */
  const bool escape = at->byte == '\\' || (at->byte >= 0 && at->column > 1);
  if (quote && escape) {
    planish_mistake(mistakes, at->line, at->column,
                    "no YAML: a backslash with something after it that YAML does not know: write "
                    "two, or put the value in single quotes");
  } else if (quote) {
    planish_mistake(mistakes, open->line, open->column,
                    "no YAML: a quote that is not closed: add the second %c", open->byte);
  } else if ((open->byte == '{' || open->byte == '[') && at->byte < 0) {
    planish_mistake(mistakes, open->line, open->column,
                    "no YAML: a bracket that is not closed: add the %c", closing(open->byte));
  } else if (open->byte == '{' || open->byte == '[') {
    planish_mistake(
        mistakes, at->line, at->column,
        "no YAML: neither a comma nor the %c of the %c on line %d: add what is missing, "
        "or put a value that holds brackets in quotes",
        closing(open->byte), open->byte, open->line);
  } else {
    return false;
  }
  return true;
}

/* By what stands where the parser stopped; NULL: that does not say it. */
static const char *words_for(int byte, int column)
{
  switch (byte) {
  case '\t':
    return "a tab: indent by spaces";
  case '%':
    return column == 1
               ? "a line of directions to a reader of YAML, which has no place here: remove it"
               : "a value cannot begin with %: put it in quotes";
  case '@':
  case '`':
    return "a value cannot begin with @ or `: put it in quotes";
  case ':':
    return "a colon that belongs to no key: begin the line in the column of the one before, or put "
           "a value with a colon in quotes";
  case '-':
    return "a hyphen out of place: begin it on a line of its own, in the column of the one before";
  default:
    return NULL;
  }
}

static bool tell_here(const Place *at, PlanishMistakes *mistakes)
{
  const char *words = words_for(at->byte, at->column);
  return words != NULL &&
         (planish_mistake(mistakes, at->line, at->column, "no YAML: %s", words), true);
}

/* What the parser was in the middle of, that is not in brackets. */
static void tell_block(const yaml_parser_t *parser, const Place *at, const Place *open,
                       PlanishMistakes *mistakes)
{
  if (at->byte < 0) {
    planish_mistake(
        mistakes, at->line, at->column,
        "no YAML: the text ends where more must come: give the value, and close what is "
        "open");
  } else if (parser->error == YAML_SCANNER_ERROR) {
    planish_mistake(mistakes, open->line, open->column,
                    "no YAML: begun here, and not as YAML goes on: a key needs a colon and a space "
                    "after it; a value with signs in it, quotes");
  } else {
    planish_mistake(mistakes, at->line, at->column,
                    "no YAML: this line belongs to none before it: begin it in the column of those "
                    "that it goes with (line %d: column %d)",
                    open->line, open->column);
  }
}

void planish_sheet_tell_syntax(const yaml_parser_t *parser, const char *text, size_t size,
                               PlanishMistakes *mistakes)
{
  if (parser->error == YAML_MEMORY_ERROR) {
    planish_mistake_memory(mistakes);
    return;
  }
  if (parser->error == YAML_READER_ERROR) {
    tell_byte(parser, text, size, mistakes);
    return;
  }
  const Place at = place_of(&parser->problem_mark, text, size);
  const bool within = parser->context != NULL;
  const Place open = within ? place_of(&parser->context_mark, text, size) : at;
  const bool directive = open.byte == '%' && open.column == 1;
  if ((within && tell_open(&at, &open, mistakes)) || tell_here(directive ? &open : &at, mistakes)) {
    return;
  }
  if (within) {
    tell_block(parser, &at, &open, mistakes);
  } else {
    planish_mistake(mistakes, at.line, at.column,
                    "no YAML: not to be understood from here on: check indents, colons and quotes");
  }
}
