/* SPDX-License-Identifier: ISC */
/* The arithmetic of a purchase. Cups are rounded up where they are needed, each figure once, so that the
 * quantity is the sum of whole numbers that the reader sees. */
#include "depositd/purchase.h"

#include "depositd/forecast.h"

#include <assert.h>
#include <math.h>

/* A need of 12.0000000001 cups is 12: rounding in binary is no need. Never below 0. */
static int64_t whole_up(double cups)
{
    double whole = ceil(cups - 1e-6);
    return whole > 0 ? (int64_t)fmin(whole, 1e15) : 0;
}

/* Of a history whose first day is a `first`. 0: it has no such day. */
static double mean_of_weekday(const double *cups, size_t days, enum weekday first, enum weekday weekday)
{
    double sum = 0;
    size_t count = 0;
    for (size_t day = (weekday + WEEKDAYS - first) % WEEKDAYS; day < days; day += WEEKDAYS, count++)
        sum += cups[day];
    return count > 0 ? sum / (double)count : 0;
}

struct daily_demand purchase_demand(const double *cups, size_t days, struct date first)
{
    struct daily_demand demand = {.days = days, .peak = -1};
    double squares = 0;
    assert(days > 0);
    for (size_t day = 0; day < days; day++)
        demand.mean += cups[day] / (double)days;
    for (size_t day = 0; day < days; day++)
        squares += (cups[day] - demand.mean) * (cups[day] - demand.mean);
    demand.sd = days > 1 ? sqrt(squares / (double)(days - 1)) : 0;
    for (enum weekday weekday = MONDAY; weekday < WEEKDAYS; weekday++) {
        double mean = mean_of_weekday(cups, days, weekday_of(first), weekday);
        if (mean > demand.peak) {
            demand.peak = mean;
            demand.peak_weekday = weekday;
        }
    }
    return demand;
}

static double grown(const struct purchase_terms *terms)
{
    return 1 + (double)terms->growth_ppm / PPM;
}

int64_t purchase_par(const struct daily_demand *demand, const struct purchase_terms *terms)
{
    double quantile = normal_quantile((double)terms->service_level.ppm / PPM);
    return whole_up(grown(terms) *
                    (demand->mean * terms->stock_days + quantile * demand->sd * sqrt(terms->stock_days)));
}

int64_t purchase_never_returned(const struct purchase_change *change)
{
    assert(change->days > 0);
    double explained = change->time_out * (change->demand_now - change->demand_then);
    double more = ((double)change->more_out - explained) * (double)change->of_days / (double)change->days;
    return more > 0 ? llround(fmin(more, 1e15)) : 0;
}

int64_t purchase_lost(const struct purchase_losses *losses)
{
    double lost = (double)losses->damaged + (double)losses->missing + (double)losses->forfeited +
                  (double)losses->never_returned;
    return lost > 0 ? llround(lost) : 0;
}

double purchase_loss_rate(int64_t lost, int64_t issued)
{
    assert(issued > 0);
    return fmin((double)lost / (double)issued, 1);
}

static int64_t counted_out(const struct purchase_facts *facts)
{
    int64_t most = facts->with_customers > 0 ? facts->with_customers : 0;
    int64_t explained = whole_up(facts->demand * facts->time_out);
    return facts->counts_all_out || explained > most ? most : explained;
}

struct purchase purchase_make(const struct purchase_facts *facts, const struct purchase_terms *terms)
{
    double demand = facts->demand * grown(terms);
    /* Demand grows evenly, so its mean over the horizon lies half way. */
    double issued = (facts->demand + demand) / 2 * terms->horizon_days;
    struct purchase made = {.out = whole_up(demand * facts->time_out),
                            .par = facts->par,
                            .wash = whole_up(demand * terms->wash_days),
                            .on_road = facts->on_road,
                            .losses = whole_up(issued * facts->loss_rate),
                            .at_sites = facts->at_sites,
                            .out_counted = counted_out(facts)};
    made.needed = made.out + made.par + made.wash + made.on_road + made.losses;
    made.in_service = made.at_sites + made.on_road + made.out_counted;
    int64_t more = made.needed - made.in_service;
    made.quantity = more > 0 ? more : 0;
    made.surplus = more < 0 ? -more : 0;
    return made;
}

double purchase_uses(double loss_rate)
{
    assert(loss_rate > 0);
    return 1 / loss_rate;
}

static int64_t divide_up(int64_t number, int64_t divisor)
{
    return number / divisor + (number % divisor != 0);
}

int64_t purchase_uses_to_pay(struct money price, struct money per_use, struct money disposable)
{
    struct money saved;
    if (!money_sub(disposable, per_use, &saved) || saved.minor <= 0)
        return 0;
    return divide_up(price.minor, saved.minor);
}

int64_t purchase_uses_to_weigh(int64_t mass_g, struct decimal disposable_g)
{
    assert(disposable_g.unscaled > 0);
    int64_t scaled = mass_g;
    for (unsigned i = 0; i < disposable_g.scale; i++)
        scaled *= 10;
    return divide_up(scaled, disposable_g.unscaled);
}
