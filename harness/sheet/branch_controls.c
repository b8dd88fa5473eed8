#include "harness/sheet/branch_controls.h"

#define LOWEST  (-60.0f) /* dB */
#define HIGHEST 12.0f
#define INITIAL (-20.0f) /* a trace: a branch is easily too much */

static char none[] = "";

static PlanishPluginPoint takes[] = {
    {(char[]){"stereo"}, PLANISH_TAKE_STEREO}, {(char[]){"mid"}, PLANISH_TAKE_MID},
    {(char[]){"side"}, PLANISH_TAKE_SIDE},     {(char[]){"left"}, PLANISH_TAKE_LEFT},
    {(char[]){"right"}, PLANISH_TAKE_RIGHT},
};

static PlanishPluginPoint adds[] = {
    {(char[]){"result"}, PLANISH_ADD_RESULT},
    {(char[]){"difference"}, PLANISH_ADD_DIFFERENCE},
};

static PlanishPluginPort ports[] = {
    [PLANISH_BRANCH_TAKE] =
        {
            .kind = PLANISH_PLUGIN_CONTROL_INPUT,
            .symbol = (char[]){"take"},
            .name = (char[]){"Take"},
            .short_name = (char[]){"Take"},
            .comment = (char[]){"What goes into the branch."},
            .unit = none,
            .minimum = PLANISH_TAKE_STEREO,
            .maximum = PLANISH_TAKE_RIGHT,
            .initial = PLANISH_TAKE_STEREO,
            .whole = true,
            .enumeration = true,
            .not_automatic = true,
            .point_count = sizeof takes / sizeof *takes,
            .points = takes,
        },
    [PLANISH_BRANCH_LEVEL] =
        {
            .kind = PLANISH_PLUGIN_CONTROL_INPUT,
            .symbol = (char[]){"level"},
            .name = (char[]){"Level"},
            .short_name = (char[]){"Level"},
            .comment = (char[]){"At which the branch is added to what it was taken from."},
            .unit = (char[]){"dB"},
            .minimum = LOWEST,
            .maximum = HIGHEST,
            .initial = INITIAL,
            .has_unit = true,
        },
    [PLANISH_BRANCH_ADD] =
        {
            .kind = PLANISH_PLUGIN_CONTROL_INPUT,
            .symbol = (char[]){"add"},
            .name = (char[]){"Add"},
            .short_name = (char[]){"Add"},
            .comment = (char[]){"All that comes out of the branch, or only what its stages "
                                "changed."},
            .unit = none,
            .minimum = PLANISH_ADD_RESULT,
            .maximum = PLANISH_ADD_DIFFERENCE,
            .initial = PLANISH_ADD_RESULT,
            .whole = true,
            .enumeration = true,
            .not_automatic = true,
            .point_count = sizeof adds / sizeof *adds,
            .points = adds,
        },
};

static const PlanishPlugin plugin = {
    .uri = (char[]){"urn:planish:branch"},
    .name = (char[]){"Parallel branch"},
    .comment = (char[]){"Part of the signal through stages of its own, added to what it was taken "
                        "from, lined up to the frame."},
    .port_count = sizeof ports / sizeof *ports,
    .ports = ports,
    .channels = 2,
    .latency = -1,
    .enabled = -1,
};

const PlanishPlugin *planish_branch_plugin(void)
{
  return &plugin;
}
