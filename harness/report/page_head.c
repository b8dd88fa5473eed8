#include "harness/report/page_head.h"

#include "harness/report/assets.h"
#include "harness/report/html.h"

void planish_page_head(FILE *out, const char *title, bool scripted)
{
  planish_text_print(out,
                     "<!DOCTYPE html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n<meta "
                     "http-equiv=\"Content-Security-Policy\" content=\"default-src 'none'; "
                     "style-src 'sha256-%s'; ",
                     planish_page_style_digest);
  if (scripted) {
    planish_text_print(out, "script-src 'sha256-%s'; ", planish_page_script_digest);
  }
  (void)fputs("base-uri 'none'; form-action 'none'\">\n<meta name=\"viewport\" "
              "content=\"width=device-width, initial-scale=1\">\n<title>",
              out);
  planish_html_text(out, title);
  (void)fputs("</title>\n<style>", out);
  (void)fwrite(planish_page_style, 1, planish_page_style_size, out);
  (void)fputs("</style>\n</head>\n", out);
}
