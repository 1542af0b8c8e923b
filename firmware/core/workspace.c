/* SPDX-License-Identifier: MIT */
#include "workspace.h"

union workspace workspace;
