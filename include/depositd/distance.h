/* SPDX-License-Identifier: ISC */
/* Distances over the earth: the great circle on a sphere of the mean radius R1 = 6,371,008.8 m of the
 * ellipsoid WGS 84. The ellipsoid's own distance differs by less than 0.6 %, and roads are longer than
 * either. Pure; any thread. */
#ifndef DEPOSITD_DISTANCE_H
#define DEPOSITD_DISTANCE_H

/* In degrees: latitude -90 to 90, longitude -180 to 180. */
struct position {
    double latitude, longitude;
};

#define EARTH_RADIUS_M 6371008.8

/* In metres, from 0 to half of the circumference. */
double distance_m(struct position from, struct position to);

#endif
