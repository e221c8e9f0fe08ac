/* SPDX-License-Identifier: ISC */
/* Distances against figures from outside. "Sphere" is the source's own sphere, so its radius is taken into
 * account; "ellipsoid" is the distance over an ellipsoid, from which a sphere differs by some tenths of a
 * per cent. */
#include "depositd/distance.h"

#include "suite.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>

#define DEGREES(degrees, minutes, seconds) ((degrees) + (minutes) / 60.0 + (seconds) / 3600.0)

static const struct {
    const char *source;
    struct position from, to;
    double metres, radius, tolerance; /* relative */
} pairs[] = {
    {"Los Angeles to New York, sphere: 0.623585 radians; E. Williams, Aviation Formulary (from memory)",
     {DEGREES(33, 57, 0), -DEGREES(118, 24, 0)},
     {DEGREES(40, 38, 0), -DEGREES(73, 47, 0)},
     0.623585,
     1,
     1e-6},
    {"Nashville to Los Angeles, sphere of 6372.8 km: a common worked example (from memory)",
     {36.12, -86.67},
     {33.94, -118.40},
     2887259.9506,
     6372800,
     1e-10},
    {"Jerusalem to Los Angeles: 12,185 km; a lesson at shum.cc.huji.ac.il, whose radius is not stated",
     {31.75, 35.25},
     {34.0, -118.0},
     12185000,
     6371000,
     1e-4},
    {"Flinders Peak to Buninyong, ellipsoid GRS80: Australia's manual of GDA94 (from memory), in tests of "
     "several libraries",
     {-DEGREES(37, 57, 3.72030), DEGREES(144, 25, 29.52440)},
     {-DEGREES(37, 39, 10.15610), DEGREES(143, 55, 35.38390)},
     54972.271,
     EARTH_RADIUS_M,
     0.006},
    {"Los Angeles to New York, ellipsoid WGS 84: computed with GeographicLib",
     {DEGREES(33, 57, 0), -DEGREES(118, 24, 0)},
     {DEGREES(40, 38, 0), -DEGREES(73, 47, 0)},
     3981600.617,
     EARTH_RADIUS_M,
     0.006},
    {"a quarter of the equator, by geometry", {0, -45}, {0, 45}, M_PI / 2, 1, 1e-14},
    {"over a pole, by geometry", {80, 10}, {80, -170}, M_PI / 9, 1, 1e-14},
    {"across the date line, by geometry", {0, 179.5}, {0, -179.5}, M_PI / 180, 1, 1e-12},
    {"antipodes, by geometry", {12.5, 30}, {-12.5, -150}, M_PI, 1, 1e-7},
};

START_TEST(published_pairs)
{
    double scale = pairs[_i].radius / EARTH_RADIUS_M;
    double there = distance_m(pairs[_i].from, pairs[_i].to) * scale;
    double back = distance_m(pairs[_i].to, pairs[_i].from) * scale;
    ck_assert_msg(fabs(there / pairs[_i].metres - 1) <= pairs[_i].tolerance, "%s: %.10g", pairs[_i].source,
                  there);
    ck_assert(fabs(there - back) <= there * 1e-15);
}
END_TEST

static double random_between(unsigned *state, double low, double high)
{
    return low + (high - low) * rand_r(state) / RAND_MAX;
}

/* Of any three places no way round is shorter; the distance to itself is zero; none is beyond the antipodes.
 */
START_TEST(it_is_a_distance)
{
    unsigned state = 20260512;
    for (int i = 0; i < 10000; i++) {
        struct position at[3];
        for (int k = 0; k < 3; k++)
            at[k] = (struct position){random_between(&state, -90, 90), random_between(&state, -180, 180)};
        double direct = distance_m(at[0], at[1]);
        double round = distance_m(at[0], at[2]) + distance_m(at[2], at[1]);
        ck_assert(direct <= round + 1);
        ck_assert(distance_m(at[0], at[0]) == 0);
        ck_assert(direct <= EARTH_RADIUS_M * M_PI);
    }
}
END_TEST

Suite *file_suite(void)
{
    TCase *cases = tcase_create("distance");
    tcase_add_loop_test(cases, published_pairs, 0, (int)(sizeof pairs / sizeof pairs[0]));
    tcase_add_test(cases, it_is_a_distance);
    Suite *suite = suite_create("distance");
    suite_add_tcase(suite, cases);
    return suite;
}
