/* SPDX-License-Identifier: ISC */
/* The haversine formula. It keeps its precision for short distances, where the spherical law of cosines loses
 * it. */
#include "depositd/distance.h"

#include <math.h>

static double radians(double degrees)
{
    return degrees * (M_PI / 180);
}

double distance_m(struct position from, struct position to)
{
    double north = sin(radians(to.latitude - from.latitude) / 2);
    double east = sin(radians(to.longitude - from.longitude) / 2);
    double half_chord = north * north + cos(radians(from.latitude)) * cos(radians(to.latitude)) * east * east;
    /* Rounding may bring it above 1 for antipodes. */
    return 2 * EARTH_RADIUS_M * asin(sqrt(fmin(half_chord, 1)));
}
