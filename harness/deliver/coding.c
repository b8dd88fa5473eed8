#include "harness/deliver/coding.h"

#include "harness/audio/audio_writer.h"
#include "harness/base/text.h"

#include <sndfile.h>
#include <string.h>
#include <strings.h>

/* ISO 11172-3; the lower rates of ISO 13818-3 are none for a master. */
static const int mp3_rates[] = {32000, 44100, 48000, 0};
/* RFC 6716, 2: what its layers work at. */
static const int opus_rates[] = {8000, 12000, 16000, 24000, 48000, 0};

#define ALL_TEXTS                                                                                  \
  (1U << PLANISH_METADATA_TITLE | 1U << PLANISH_METADATA_ARTIST | 1U << PLANISH_METADATA_ALBUM |   \
   1U << PLANISH_METADATA_TRACK | 1U << PLANISH_METADATA_YEAR | 1U << PLANISH_METADATA_COMMENT)

/* A chunk's length is a signed number of 32 bit in AIFF. Vorbis takes 192 kHz and not 384, by
 * trying.
 */
static const PlanishCoding codings[PLANISH_FORMATS] = {
    [PLANISH_FORMAT_WAV] = {"wav", "WAV", ".wav", false, true, NULL, 0, 0},
    [PLANISH_FORMAT_AIFF] = {"aiff", "AIFF", ".aiff", false, true, NULL, 0, 0x7fff0000U},
    [PLANISH_FORMAT_FLAC] = {"flac", "FLAC", ".flac", false, false, NULL, 0, 0},
    [PLANISH_FORMAT_VORBIS] = {"vorbis", "Ogg Vorbis", ".ogg", true, false, NULL, 192000, 0},
    [PLANISH_FORMAT_OPUS] = {"opus", "Opus", ".opus", true, false, opus_rates, 0, 0},
    [PLANISH_FORMAT_MP3] = {"mp3", "MP3", ".mp3", true, false, mp3_rates, 0, 0},
};

const char *const planish_format_words[PLANISH_FORMATS] = {
    [PLANISH_FORMAT_WAV] = "wav",   [PLANISH_FORMAT_AIFF] = "aiff",
    [PLANISH_FORMAT_FLAC] = "flac", [PLANISH_FORMAT_VORBIS] = "vorbis",
    [PLANISH_FORMAT_OPUS] = "opus", [PLANISH_FORMAT_MP3] = "mp3",
};

const PlanishCoding *planish_coding_of(PlanishFormat format)
{
  return &codings[format];
}

int planish_coding_number(PlanishFormat format, unsigned bits, uint64_t bytes)
{
  static const int containers[PLANISH_FORMATS] = {
      [PLANISH_FORMAT_WAV] = SF_FORMAT_WAV,
      [PLANISH_FORMAT_AIFF] = SF_FORMAT_AIFF,
      [PLANISH_FORMAT_FLAC] = SF_FORMAT_FLAC,
      [PLANISH_FORMAT_VORBIS] = SF_FORMAT_OGG | SF_FORMAT_VORBIS,
      [PLANISH_FORMAT_OPUS] = SF_FORMAT_OGG | SF_FORMAT_OPUS,
      [PLANISH_FORMAT_MP3] = SF_FORMAT_MPEG | SF_FORMAT_MPEG_LAYER_III,
  };
  if (codings[format].coded) {
    return containers[format];
  }
  const int word = bits == 16 ? SF_FORMAT_PCM_16 : bits == 24 ? SF_FORMAT_PCM_24 : SF_FORMAT_FLOAT;
  const bool long_wav = format == PLANISH_FORMAT_WAV && bytes >= PLANISH_WAV_MOST_BYTES;
  return (long_wav ? SF_FORMAT_RF64 : containers[format]) | word;
}

bool planish_coding_carries(PlanishFormat format, bool bext, PlanishMetadataField field)
{
  static const unsigned carried[PLANISH_FORMATS] = {
      [PLANISH_FORMAT_WAV] = ALL_TEXTS,
      [PLANISH_FORMAT_AIFF] = 1U << PLANISH_METADATA_TITLE | 1U << PLANISH_METADATA_ARTIST |
                              1U << PLANISH_METADATA_COMMENT,
      [PLANISH_FORMAT_FLAC] = ALL_TEXTS | 1U << PLANISH_METADATA_ISRC,
      [PLANISH_FORMAT_VORBIS] = ALL_TEXTS,
      [PLANISH_FORMAT_OPUS] = ALL_TEXTS,
      [PLANISH_FORMAT_MP3] = ALL_TEXTS,
  };
  const bool in_axml = format == PLANISH_FORMAT_WAV && bext && field == PLANISH_METADATA_ISRC;
  return in_axml || (carried[format] >> field & 1U) != 0;
}

int planish_coding_string(PlanishMetadataField field)
{
  static const int strings[PLANISH_METADATA_FIELDS] = {
      [PLANISH_METADATA_TITLE] = SF_STR_TITLE, [PLANISH_METADATA_ARTIST] = SF_STR_ARTIST,
      [PLANISH_METADATA_ALBUM] = SF_STR_ALBUM, [PLANISH_METADATA_TRACK] = SF_STR_TRACKNUMBER,
      [PLANISH_METADATA_YEAR] = SF_STR_DATE,   [PLANISH_METADATA_COMMENT] = SF_STR_COMMENT,
  };
  return strings[field];
}

bool planish_coding_has_rate(PlanishFormat format, double rate)
{
  const int *rates = codings[format].rates;
  for (; rates != NULL && *rates != 0; ++rates) {
    if (rate == *rates) {
      return true;
    }
  }
  const double most = codings[format].most_rate;
  return rates == NULL && (most == 0.0 || rate <= most);
}

void planish_coding_list_rates(PlanishFormat format, char *text, size_t size)
{
  size_t used = 0;
  planish_text_format(text, size, "at most %g", codings[format].most_rate);
  for (const int *rate = codings[format].rates; rate != NULL && *rate != 0 && used < size; ++rate) {
    const char *before = rate == codings[format].rates ? "" : rate[1] == 0 ? " or " : ", ";
    used += (size_t)planish_text_format(text + used, size - used, "%s%d", before, *rate);
  }
}

const char *planish_coding_not_written(const char *word)
{
  static const char *const others[] = {"aac", "m4a", "mp4", "alac", "wma",
                                       "ac3", "mp2", "dsd", "ape"};
  for (size_t n = 0; n < sizeof others / sizeof *others; ++n) {
    if (strcasecmp(word, others[n]) == 0) {
      return "is not written here: deliver wav or flac, and have it coded from that";
    }
  }
  return NULL;
}
