/* SPDX-License-Identifier: ISC */
/* Says in words at which rates the sums of several currencies became one. */
#include "http/pages/page_office.h"

#include "http/request/json_body.h"
#include "report/html.h"

enum { RATES_TEXT_MAX = 16384 };

/* 1 CAD = 0.68 EUR, 1 ISK = 0.0067 EUR */
static void add_rates(struct buffer *text, const json_t *one)
{
    size_t index;
    json_t *rate;
    json_array_foreach(json_object_get(one, "rates"), index, rate)
    {
        buffer_printf(text, "%s1 %s = %s %s", index > 0 ? ", " : "", json_member_text(rate, "of"),
                      json_member_text(rate, "rate"), json_member_text(one, "currency"));
    }
}

void page_office(struct page_view *view, const struct page_scope *scope)
{
    const json_t *one = json_object_get(scope->object, "in_one_currency");
    struct buffer rates;
    if (json_array_size(json_object_get(one, "rates")) > 0) {
        buffer_init(&rates, RATES_TEXT_MAX);
        add_rates(&rates, one);
        buffer_add_text(view->text, "<p class=\"note\">");
        html_say(view->text, "Sums in %1 at rates that the reader of this page stated, of %2: %3.",
                 json_member_text(one, "currency"), json_member_text(one, "rate_day"),
                 rates.data != NULL && !rates.failed ? rates.data : "");
        buffer_add_text(view->text, "</p>\n");
        buffer_dispose(&rates);
    }
    page_object(view, scope);
}
