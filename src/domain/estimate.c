/* SPDX-License-Identifier: ISC */
/* The chain ladder with Mack's standard error. Names follow the paper: C(i,k) is what came back of row i
 * through column k, f(k) the factor from there to the next column, and sigma squared its variance. */
#include "depositd/estimate.h"

#include <math.h>

/* The rows that are known both in column k and in the next one. */
static size_t rows_of_step(const struct triangle *triangle, size_t k)
{
    return triangle->count - 1 - k;
}

/* The sum of a column over the rows of the step that begins there. */
static double base_of(const struct triangle *triangle, size_t k)
{
    double sum = 0;
    for (size_t i = 0; i < rows_of_step(triangle, k); i++)
        sum += triangle->back[i][k];
    return sum;
}

static bool find_factors(const struct triangle *triangle, struct projection *projection)
{
    for (size_t k = 0; k + 1 < triangle->count; k++) {
        double base = base_of(triangle, k), next = 0;
        if (!(base > 0))
            return false;
        for (size_t i = 0; i < rows_of_step(triangle, k); i++)
            next += triangle->back[i][k + 1];
        projection->factor[k] = next / base;
    }
    return true;
}

/* Mack's estimate from the rows of the step. A row without cups in the column says nothing of their factor.
 */
static double variance_of_step(const struct triangle *triangle, size_t k, double factor)
{
    double sum = 0;
    for (size_t i = 0; i < rows_of_step(triangle, k); i++) {
        double cups = triangle->back[i][k];
        if (cups > 0) {
            double residual = triangle->back[i][k + 1] - factor * cups;
            sum += residual * residual / cups;
        }
    }
    return sum / (double)(rows_of_step(triangle, k) - 1);
}

/* The last step has one row, which has no spread: Mack extrapolates from the two steps before. */
static void find_variances(const struct triangle *triangle, struct projection *projection)
{
    size_t last = triangle->count - 2;
    double *variance = projection->variance;
    for (size_t k = 0; k < last; k++)
        variance[k] = variance_of_step(triangle, k, projection->factor[k]);
    double smaller = fmin(variance[last - 1], variance[last - 2]);
    double fading =
        variance[last - 2] > 0 ? variance[last - 1] * variance[last - 1] / variance[last - 2] : smaller;
    variance[last] = fmin(fading, smaller);
}

/* The sum over the steps still to come of sigma squared / f squared * share, which the error of a row and the
 * error that rows have in common both contain. `share` is 1/C + 1/base, or 1/base. */
static double spread(const struct projection *projection, size_t k, double share)
{
    double factor = projection->factor[k];
    return factor > 0 ? projection->variance[k] / (factor * factor) * share : 0;
}

/* Projects row i, and leaves the sum of the parts that it has in common with later rows in *common. */
static void project_row(const struct triangle *triangle, size_t i, struct projection *projection,
                        double *common)
{
    size_t known = triangle->count - 1 - i;
    double cups = triangle->back[i][known], sum = 0;
    *common = 0;
    for (size_t k = known; k + 1 < triangle->count; k++) {
        double of_base = 1 / base_of(triangle, k);
        sum += spread(projection, k, (cups > 0 ? 1 / cups : 0) + of_base);
        *common += spread(projection, k, of_base);
        cups *= projection->factor[k];
    }
    projection->ultimate[i] = cups;
    projection->to_come[i] = cups - triangle->back[i][known];
    projection->error[i] = cups * sqrt(sum);
}

/* Rows are not independent, because they share the factors: each pair adds twice what both have in common. */
static void add_up(struct projection *projection, const double common[static TRIANGLE_MAX])
{
    double square = 0, later = 0;
    for (size_t i = projection->count; i-- > 0;) {
        projection->total += projection->to_come[i];
        square +=
            projection->error[i] * projection->error[i] + 2 * projection->ultimate[i] * later * common[i];
        later += projection->ultimate[i];
    }
    projection->total_error = sqrt(square);
}

enum estimate_result estimate_project(const struct triangle *triangle, struct projection *projection)
{
    double common[TRIANGLE_MAX] = {0};
    *projection = (struct projection){.count = triangle->count};
    if (triangle->count < TRIANGLE_MIN || triangle->count > TRIANGLE_MAX)
        return ESTIMATE_TOO_SHORT;
    if (!find_factors(triangle, projection))
        return ESTIMATE_TOO_THIN;
    find_variances(triangle, projection);
    for (size_t i = 0; i < triangle->count; i++)
        project_row(triangle, i, projection, &common[i]);
    add_up(projection, common);
    return ESTIMATE_MADE;
}

void estimate_cut(const struct triangle *triangle, size_t periods, struct triangle *earlier)
{
    *earlier = (struct triangle){.count = periods < triangle->count ? triangle->count - periods : 0};
    for (size_t i = 0; i < earlier->count; i++)
        for (size_t k = 0; k < earlier->count - i; k++)
            earlier->back[i][k] = triangle->back[i][k];
}

const char *estimate_result_word(enum estimate_result result)
{
    static const char *const words[] = {
        [ESTIMATE_MADE] = "made", [ESTIMATE_TOO_SHORT] = "too_short", [ESTIMATE_TOO_THIN] = "too_thin"};
    return words[result];
}
