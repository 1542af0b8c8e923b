/* SPDX-License-Identifier: MIT */
/* The memory of what the box is doing. It does one thing at a time, so drive, scan and watch use the same. Each clears
 * it when it begins, and uses it from then until its end was told. */
#ifndef LOOMPROOF_WORKSPACE_H
#define LOOMPROOF_WORKSPACE_H

#include "drive.h"
#include "scan.h"
#include "watch.h"

union workspace {
    struct drive_run drive;
    struct scan_run scan;
    struct watch_run watch;
};

extern union workspace workspace; /* activity.c has it */

#endif
