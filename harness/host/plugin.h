/* What is known of a plugin from its Turtle alone: its ports, their ranges and words.
 *
 * The host (host.h) reads these facts once and owns them. Text is never NULL ("" where the Turtle
 * says nothing), in UTF-8. Thread: any, read only. */
#ifndef PLANISH_HARNESS_PLUGIN_H
#define PLANISH_HARNESS_PLUGIN_H

#include "harness/base/error.h"

#include <lilv/lilv.h>
#include <stdbool.h>
#include <stdint.h>

typedef enum {
  PLANISH_PLUGIN_AUDIO_INPUT,
  PLANISH_PLUGIN_AUDIO_OUTPUT,
  PLANISH_PLUGIN_CONTROL_INPUT,
  PLANISH_PLUGIN_CONTROL_OUTPUT,
  PLANISH_PLUGIN_OTHER, /* events, control voltage: left unconnected */
} PlanishPluginPortKind;

/* A named value of a port. */
typedef struct {
  char *label;
  float value;
} PlanishPluginPoint;

typedef struct {
  PlanishPluginPortKind kind;
  char *symbol;
  char *name;
  char *short_name;
  char *comment;
  char *unit;    /* as shown: "dB", "Hz", "ms", "%"; "" for a plain number */
  float minimum; /* -HUGE_VALF and HUGE_VALF where the Turtle gives none */
  float maximum;
  float initial;
  bool has_unit;      /* the Turtle names a unit, be it that of a plain number */
  bool whole;         /* lv2:integer */
  bool toggled;       /* lv2:toggled */
  bool enumeration;   /* lv2:enumeration: the points are the only values */
  bool logarithmic;   /* pprops:logarithmic */
  bool not_automatic; /* pprops:notAutomatic */
  bool optional;      /* lv2:connectionOptional */
  bool side_chain;    /* lv2:isSideChain */
  bool restarts;      /* urn:planish:vocabulary#restarts: starts a measurement anew */
  bool of_all;        /* urn:planish:vocabulary#ofAll: speaks of all since then */
  float no_reading;   /* urn:planish:vocabulary#noReading; NAN: every value is a reading */
  uint32_t point_count;
  PlanishPluginPoint *points; /* in order of value */
} PlanishPluginPort;

typedef struct {
  const LilvPlugin *lilv;
  char *uri;
  char *name;
  char *comment;
  unsigned minor_version; /* lv2:minorVersion; 0 where the Turtle gives none */
  unsigned micro_version; /* lv2:microVersion, likewise */
  double settles;         /* seconds until a held envelope or a floor has settled
                             (urn:planish:vocabulary#settles); 0: nothing to wait for */
  uint32_t port_count;
  PlanishPluginPort *ports;  /* by index */
  uint32_t channels;         /* 2, or 1: run once for each channel */
  uint32_t audio_inputs[2];  /* port indices; in_left, in_right */
  uint32_t audio_outputs[2]; /* out_left, out_right */
  bool is_limiter;           /* lv2:LimiterPlugin */
  int latency;               /* index of the port that reports it; -1: none */
  int enabled;               /* index of the port designated lv2:enabled; -1: none */
} PlanishPlugin;

/* The index of a port by symbol; -1: there is none. */
int planish_plugin_find(const PlanishPlugin *plugin, const char *symbol);

/* The name that a sheet may use: the URI without "urn:planish:", or the whole URI. */
const char *planish_plugin_short_uri(const PlanishPlugin *plugin);

/* For host.h: reads a plugin's facts. Without a plugin that this host can run (two audio inputs
 * and outputs or one each, nothing else that must be connected, no unknown required feature) NULL
 * with PLANISH_BAD_USE. */
PlanishPlugin *planish_plugin_new(LilvWorld *world, const LilvPlugin *lilv, PlanishError *error);
void planish_plugin_free(PlanishPlugin *plugin);

#endif
