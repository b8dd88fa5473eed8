/* The page's style sheet and script, and their SHA-256 in base64, by which the page's policy (CSP
 * Level 3) knows them. Made by the build from page.css and the .js files beside it. */
#ifndef PLANISH_HARNESS_ASSETS_H
#define PLANISH_HARNESS_ASSETS_H

#include <stddef.h>

extern const unsigned char planish_page_style[];
extern const size_t planish_page_style_size;
extern const char planish_page_style_digest[];

extern const unsigned char planish_page_script[];
extern const size_t planish_page_script_size;
extern const char planish_page_script_digest[];

#endif
