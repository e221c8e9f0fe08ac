/* SPDX-License-Identifier: ISC */
/* A fee note as a document. The foot of each table has its totals, and a sentence has the balance, so these
 * members of the JSON are not written again. */
#include "http/pages/page_fee_note.h"

#include "http/pages/page_amounts.h"
#include "http/request/json_body.h"
#include "report/html.h"

static void add_words(struct page_view *view, const struct page_scope *scope)
{
    const char *balance = json_member_text(scope->object, "balance"), *currency = page_currency(scope);
    bool less = *balance == '-';
    buffer_add_text(view->text, "<p class=\"due\">");
    if (html_is_zero(balance))
        html_word(view->text, "The fees of the month cancel out.");
    else
        html_say_figure(view->text,
                        less ? "The fees of the month come to %1 %2 in the participant's favour."
                             : "The fees of the month come to %1 %2 in the operator's favour.",
                        balance + less, currency != NULL ? currency : "", "");
    buffer_add_text(view->text, "</p>\n");
}

void page_fee_note(struct page_view *view, const struct page_scope *scope)
{
    static const char *const sides[] = {"charged", "granted"};
    json_t *shown = json_copy((json_t *)scope->object);
    if (shown == NULL) {
        view->text->failed = true;
        return;
    }
    (void)json_object_del(shown, "totals");
    (void)json_object_del(shown, "balance");
    for (size_t i = 0; i < sizeof sides / sizeof sides[0]; i++)
        if (json_array_size(json_object_get(shown, sides[i])) == 0)
            (void)json_object_del(shown, sides[i]);
    add_words(view, scope);
    const struct page_scope document = {.object = shown};
    page_object(view, &document);
    json_decref(shown);
}
