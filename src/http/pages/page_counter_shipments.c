/* SPDX-License-Identifier: ISC */
/* Each shipment has a form with a number for each of its lines, which begins with all cups that are left.
 * Most shipments go and come whole, so one tap does it. */
#include "http/pages/page_counter_shipments.h"

#include "base/uri.h"
#include "http/request/json_body.h"
#include "report/html.h"

#include <stdio.h>
#include <string.h>

enum { NAME_MAX_LENGTH = 32, ID_MAX = 80 };

/* The words of a list, and the names of its members. */
struct side {
    enum counter_act act;
    const char *list, *id, *field, *title, *site, *site_name, *date, *date_words, *button;
};

static const struct side sides[] = {
    {COUNTER_SEND, "to_send", "shipment", COUNTER_SHIPMENT, "To send to %1", "to", "to_name", "wanted_on",
     "wanted on %1", "Sent"},
    {COUNTER_RECEIVE, "to_receive", "dispatch", COUNTER_DISPATCH, "To receive from %1", "from", "from_name",
     "sent_on", "sent on %1", "Arrived"},
};

static void add_date(struct buffer *text, int number, const void *date)
{
    (void)number;
    html_date(text, date, false);
}

static void add_hidden(struct buffer *text, const char *name, const char *value, bool damaged)
{
    buffer_printf(text, "<input type=\"hidden\" name=\"%s\" value=\"", name);
    html_text(text, value);
    buffer_add_text(text, damaged ? "/damaged\">" : "\">");
}

/* A line of cups. `again`: the form came back, so the field shows what was typed. */
static void add_line(const struct counter_view *view, const char *id, const json_t *line, size_t index,
                     bool again)
{
    char name[NAME_MAX_LENGTH], field[ID_MAX];
    bool damaged = strcmp(json_member_text(line, "condition"), "damaged") == 0;
    snprintf(name, sizeof name, COUNTER_LINE "%zu", index);
    add_hidden(view->text, name, json_member_text(line, "cup_type"), damaged);
    snprintf(name, sizeof name, COUNTER_COUNT "%zu", index);
    snprintf(field, sizeof field, "%.36s-%zu", id, index);
    const char *typed = again ? form_value(&view->request->form, name) : NULL;
    buffer_printf(view->text, "<div class=\"field\"><label for=\"%s\">", field);
    html_text(view->text, json_member_text(line, "name"));
    if (damaged) {
        buffer_add_char(view->text, ' ');
        html_word(view->text, "(damaged)");
    }
    buffer_printf(view->text,
                  "</label>\n<input id=\"%s\" name=\"%s\" type=\"number\" min=\"0\" max=\"1000000\"", field,
                  name);
    buffer_add_text(view->text, " inputmode=\"numeric\" autocomplete=\"off\" value=\"");
    if (typed != NULL)
        html_text(view->text, typed);
    else
        buffer_printf(view->text, "%lld", (long long)json_integer_value(json_object_get(line, "quantity")));
    buffer_add_text(view->text, "\">\n</div>\n");
}

static void add_heading(const struct counter_view *view, const struct side *side, const json_t *shipment)
{
    buffer_add_text(view->text, "<h2>");
    html_say(view->text, side->title, json_member_text(shipment, side->site_name));
    buffer_add_text(view->text, " <span>");
    html_text(view->text, json_member_text(shipment, side->site));
    buffer_add_text(view->text, ", ");
    html_say_parts(view->text, side->date_words, add_date, json_member_text(shipment, side->date));
    buffer_add_text(view->text, "</span></h2>\n");
    if (json_object_get(shipment, "note") != NULL) {
        buffer_add_text(view->text, "<p>");
        html_text(view->text, json_member_text(shipment, "note"));
        buffer_add_text(view->text, "</p>\n");
    }
}

static void add_packing_list(const struct counter_view *view, const char *shipment)
{
    buffer_add_text(view->text, "<p><a href=\"/v1/shipments/");
    uri_encode(view->text, shipment);
    buffer_add_text(view->text, "/packing-list?scheme=");
    uri_encode(view->text, json_member_text(view->about->place, "scheme"));
    buffer_add_text(view->text, "\">");
    html_word(view->text, "Packing list");
    buffer_add_text(view->text, "</a></p>\n");
}

static void add_shipment(const struct counter_view *view, const struct side *side, const json_t *shipment)
{
    size_t index;
    const json_t *line;
    const char *id = json_member_text(shipment, side->id);
    const struct about_form form = {side->list, side->field, id, counter_act_word(side->act)};
    bool again = counter_came_back(view, &form);
    buffer_add_text(view->text, "<section class=\"cup\">\n");
    add_heading(view, side, shipment);
    counter_begin_form(view, &form, "fields");
    if (side->act == COUNTER_SEND)
        add_hidden(view->text, COUNTER_TO, json_member_text(shipment, "to"), false);
    if (json_object_get(shipment, "host") != NULL)
        add_hidden(view->text, COUNTER_HOST, json_member_text(shipment, "host"), false);
    json_array_foreach(json_object_get(shipment, "lines"), index, line)
        add_line(view, id, line, index, again);
    buffer_add_text(view->text, "<div class=\"taps\"><button><b>");
    html_word_of(view->text, "counter", side->button);
    buffer_add_text(view->text, "</b><span class=\"said\"> ");
    html_say(view->text, side->title, json_member_text(shipment, side->site_name));
    buffer_add_text(view->text, "</span></button></div>\n</form>\n");
    if (side->act == COUNTER_SEND)
        add_packing_list(view, id);
    buffer_add_text(view->text, "</section>\n");
}

void counter_add_shipments(const struct counter_view *view)
{
    size_t index;
    const json_t *shipment;
    const json_t *shipments = view->about->shipments;
    if (json_array_size(json_object_get(shipments, "to_send")) == 0 &&
        json_array_size(json_object_get(shipments, "to_receive")) == 0)
        return;
    buffer_add_text(view->text, "<div class=\"counter\">\n");
    for (size_t i = 0; i < sizeof sides / sizeof sides[0]; i++)
        json_array_foreach(json_object_get(shipments, sides[i].list), index, shipment)
            add_shipment(view, &sides[i], shipment);
    buffer_add_text(view->text, "</div>\n");
}
