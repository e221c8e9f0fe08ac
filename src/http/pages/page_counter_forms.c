/* SPDX-License-Identifier: ISC */
/* Each form carries the id of the event that it would record, so a form that is sent twice records once. A
 * form that came back with faults keeps its id: if its event was recorded all the same, nothing is recorded
 * twice. Large targets, because a hand that holds a cup taps them (WCAG 2.2, 2.5.8). */
#include "http/pages/page_counter_forms.h"

#include "base/uri.h"
#include "depositd/event.h"
#include "http/pages/page_counter_words.h"
#include "http/pages/page_problem.h"
#include "http/request/json_body.h"
#include "http/request/once.h"
#include "report/html.h"

#include <stdio.h>
#include <string.h>

enum { SAID_MAX = 8192, ID_MAX = 80 };

static const struct {
    const char *word, *label;
} acts[] = {
#define X(NAME, act_word, act_label, kind) [COUNTER_##NAME] = {#act_word, act_label},
    COUNTER_ACT_TABLE(X)
#undef X
};

/* Escapes a sentence of page_counter_words.h and adds it. */
void counter_add_said(const struct counter_view *view,
                      void (*say)(struct buffer *, const json_t *, const char *), const json_t *about)
{
    struct buffer said;
    buffer_init(&said, SAID_MAX);
    said.words = view->text->words;
    say(&said, about, view->currency);
    buffer_add_char(&said, '\0');
    html_text(view->text, said.failed ? "…" : said.data);
    buffer_dispose(&said);
}

/* --- forms -----------------------------------------------------------------------------------------------
 */

const char *counter_act_word(enum counter_act act)
{
    return acts[act].word;
}

static const char *typed(const struct counter_view *view, const char *name)
{
    return form_value(&view->request->form, name);
}

static bool has_typed(const struct counter_view *view, const char *name, const char *value)
{
    const char *found = typed(view, name);
    return found != NULL && strcmp(found, value) == 0;
}

bool counter_came_back(const struct counter_view *view, const struct about_form *form)
{
    return view->about->faults != NULL && has_typed(view, COUNTER_FORM, form->form) &&
           has_typed(view, form->name, form->value) &&
           (form->act == NULL || has_typed(view, COUNTER_ACT, form->act));
}

static void add_hidden(struct buffer *text, const char *name, const char *value)
{
    buffer_printf(text, "<input type=\"hidden\" name=\"%s\" value=\"", name);
    html_text(text, value);
    buffer_add_text(text, "\">");
}

void counter_begin_form(const struct counter_view *view, const struct about_form *form, const char *class)
{
    const char *id = counter_came_back(view, form) ? typed(view, COUNTER_EVENT_ID) : NULL;
    struct uuid known;
    char fresh[UUID_TEXT_MAX];
    if (id == NULL || !uuid_parse(id, strlen(id), &known)) {
        bool made = once_new(fresh);
        view->text->failed = view->text->failed || !made;
        id = made ? fresh : "";
    }
    buffer_printf(view->text, "<form method=\"post\" action=\"/counter\" class=\"%s\">\n", class);
    add_hidden(view->text, COUNTER_EVENT_ID, id);
    add_hidden(view->text, COUNTER_FORM, form->form);
    add_hidden(view->text, COUNTER_SITE, view->site);
    add_hidden(view->text, form->name, form->value);
    if (form->act != NULL)
        add_hidden(view->text, COUNTER_ACT, form->act);
}

/* One cup, by one tap. */
static void add_tap(const struct counter_view *view, const json_t *cup, enum counter_act act)
{
    const struct about_form form = {"tap", COUNTER_CUP_TYPE, json_member_text(cup, "cup_type"),
                                    acts[act].word};
    counter_begin_form(view, &form, "tap");
    add_hidden(view->text, COUNTER_QUANTITY, "1");
    buffer_printf(view->text, "\n<button class=\"%s\"><b>", acts[act].word);
    html_word_of(view->text, "counter", acts[act].label);
    buffer_add_text(view->text, "</b><span class=\"said\"> ");
    html_text(view->text, json_member_text(cup, "name"));
    buffer_add_text(view->text, ":</span> <span>");
    if (act == COUNTER_SWAP)
        html_word(view->text, "one for one");
    else
        html_say(view->text, act == COUNTER_OUT ? "take %1" : "give %1", json_member_text(cup, "value"));
    buffer_add_text(view->text, "</span></button></form>\n");
}

/* The member that a fault is about; NULL: none. */
static const char *member_of(const struct fault *fault)
{
    const char *last = fault->pointer != NULL ? strrchr(fault->pointer, '/') : NULL;
    return last != NULL ? last + 1 : NULL;
}

/* The fault of a field of the form that came back; NULL: none. */
static const struct fault *fault_of(const struct counter_view *view, const char *field)
{
    const struct faults *faults = view->about->faults;
    for (size_t i = 0; faults != NULL && i < faults->count; i++) {
        const char *member = member_of(&faults->items[i]);
        if (member != NULL && strcmp(member, field) == 0)
            return &faults->items[i];
    }
    return NULL;
}

/* A field of the form for more than one tap. */
struct field {
    const char *name, *label, *attributes, *hint;
};

static const struct field fields[] = {
    {COUNTER_QUANTITY, "How many",
     " type=\"number\" min=\"1\" max=\"1000000\" inputmode=\"numeric\" required", NULL},
    {COUNTER_AMOUNT, "Amount, if it was not the usual", " inputmode=\"decimal\" size=\"12\"",
     "For a swap: what you took; with a minus, what you gave"},
    {COUNTER_TENDER, "Paid by", NULL, NULL},
    {COUNTER_TEXT, "Reference", " maxlength=\"64\"", "A number of a receipt; no names of people"},
};

static void add_tenders(const struct counter_view *view, const char *value)
{
    static const char *const words[] = {
#define X(name, word) #word,
        TENDER_TABLE(X)
#undef X
    };
    buffer_add_text(view->text, "><option value=\"\"></option>");
    for (size_t i = 0; i < sizeof words / sizeof words[0]; i++) {
        html_option(view->text, words[i], words[i], value != NULL && strcmp(value, words[i]) == 0);
    }
    buffer_add_text(view->text, "</select>\n");
}

/* Adds what is said about a field, for aria-describedby (WCAG 2.2, 3.3.1). */
static void add_remarks(const struct counter_view *view, const char *id, const char *hint,
                        const struct fault *fault)
{
    if (hint != NULL) {
        buffer_printf(view->text, "<small id=\"hint-%s\">", id);
        html_word(view->text, hint);
        buffer_add_text(view->text, "</small>\n");
    }
    if (fault != NULL) {
        buffer_printf(view->text, "<strong id=\"fault-%s\">", id);
        page_fault(view->text, fault);
        buffer_add_text(view->text, "</strong>\n");
    }
}

static void begin_control(const struct counter_view *view, const char *element, const char *id,
                          const char *name, const char *hint, const struct fault *fault)
{
    buffer_printf(view->text, "<%s id=\"%s\" name=\"%s\"", element, id, name);
    if (hint != NULL || fault != NULL)
        buffer_printf(view->text, " aria-describedby=\"%s%s%s%s%s\"", hint != NULL ? "hint-" : "",
                      hint != NULL ? id : "", hint != NULL && fault != NULL ? " " : "",
                      fault != NULL ? "fault-" : "", fault != NULL ? id : "");
    if (fault != NULL)
        buffer_add_text(view->text, " aria-invalid=\"true\"");
}

/* `again`: the form came back, so the field shows what was typed. */
static void add_field(const struct counter_view *view, const char *cup_type, const struct field *field,
                      bool again)
{
    char id[ID_MAX];
    const struct fault *fault = again ? fault_of(view, field->name) : NULL;
    const char *value = again ? typed(view, field->name) : NULL;
    bool is_choice = field->attributes == NULL, is_required = field == &fields[0];
    snprintf(id, sizeof id, "%s-%s", field->name, cup_type);
    buffer_printf(view->text, "<div class=\"field\"><label for=\"%s\">", id);
    html_word(view->text, field->label);
    if (!is_required) {
        buffer_add_text(view->text, " <i>");
        html_word(view->text, "(optional)");
        buffer_add_text(view->text, "</i>");
    }
    buffer_add_text(view->text, "</label>\n");
    begin_control(view, is_choice ? "select" : "input", id, field->name, field->hint, fault);
    if (is_choice) {
        add_tenders(view, value);
    } else {
        buffer_printf(view->text, "%s autocomplete=\"off\" value=\"", field->attributes);
        html_text(view->text, value != NULL ? value : is_required ? "1" : "");
        buffer_add_text(view->text, "\">\n");
    }
    add_remarks(view, id, field->hint, fault);
    buffer_add_text(view->text, "</div>\n");
}

static void add_damaged(const struct counter_view *view, const char *cup_type, bool again)
{
    char id[ID_MAX];
    const struct fault *fault = again ? fault_of(view, COUNTER_DAMAGED) : NULL;
    snprintf(id, sizeof id, "damaged-%s", cup_type);
    buffer_add_text(view->text, "<div class=\"field tick\">");
    begin_control(view, "input", id, COUNTER_DAMAGED, NULL, fault);
    buffer_printf(view->text, " type=\"checkbox\" value=\"yes\"%s>",
                  again && typed(view, COUNTER_DAMAGED) != NULL ? " checked" : "");
    buffer_printf(view->text, "<label for=\"%s\">", id);
    html_word(view->text, "What comes back is damaged");
    buffer_add_text(view->text, "</label>\n");
    add_remarks(view, id, NULL, fault);
    buffer_add_text(view->text, "</div>\n");
}

/* Any number of cups, with all that can be said of them. */
static void add_more(const struct counter_view *view, const json_t *cup)
{
    const char *cup_type = json_member_text(cup, "cup_type");
    const struct about_form form = {"more", COUNTER_CUP_TYPE, cup_type, NULL};
    bool again = counter_came_back(view, &form);
    buffer_printf(view->text, "<details%s><summary>", again ? " open" : "");
    html_word(view->text, "More than one, or damaged");
    buffer_add_text(view->text, "<span class=\"said\">: ");
    html_text(view->text, json_member_text(cup, "name"));
    buffer_add_text(view->text, "</span></summary>\n");
    counter_begin_form(view, &form, "fields");
    add_field(view, cup_type, &fields[0], again);
    add_damaged(view, cup_type, again);
    for (size_t i = 1; i < sizeof fields / sizeof fields[0]; i++)
        add_field(view, cup_type, &fields[i], again);
    buffer_add_text(view->text, "<div class=\"taps\">\n");
    for (enum counter_act act = COUNTER_OUT; act <= COUNTER_SWAP; act++) {
        buffer_printf(view->text, "<button name=\"" COUNTER_ACT "\" value=\"%s\" class=\"%s\"><b>",
                      acts[act].word, acts[act].word);
        html_word_of(view->text, "counter", acts[act].label);
        buffer_add_text(view->text, "</b></button>\n");
    }
    buffer_add_text(view->text, "</div>\n</form></details>\n");
}

void counter_add_cup(const struct counter_view *view, const json_t *cup)
{
    buffer_add_text(view->text, "<section class=\"cup\">\n<h2>");
    html_text(view->text, json_member_text(cup, "name"));
    buffer_printf(view->text, " <span>%lld ml, %s %s</span></h2>\n<div class=\"taps\">\n",
                  (long long)json_integer_value(json_object_get(cup, "volume_ml")),
                  json_member_text(cup, "value"), view->currency);
    for (enum counter_act act = COUNTER_OUT; act <= COUNTER_SWAP; act++)
        add_tap(view, cup, act);
    buffer_add_text(view->text, "</div>\n");
    add_more(view, cup);
    buffer_add_text(view->text, "</section>\n");
}

/* An event of today's that is not undone yet. `place` tells apart two forms for one event. */
void counter_add_undo(const struct counter_view *view, const json_t *event, const char *place)
{
    const struct about_form form = {place, COUNTER_REVERSES, json_member_text(event, "event_id"),
                                    acts[COUNTER_UNDO].word};
    if (!counter_may_undo(event) || json_object_get(event, "undone_at") != NULL ||
        strcmp(json_member_text(event, "business_date"),
               json_member_text(view->about->place, "business_date")) != 0)
        return;
    counter_begin_form(view, &form, "undo");
    buffer_add_text(view->text, "<button>");
    html_word_of(view->text, "counter", acts[COUNTER_UNDO].label);
    buffer_add_text(view->text, "<span class=\"said\"> ");
    counter_add_said(view, counter_say_what, event);
    buffer_printf(view->text, ", %s</span></button></form>", json_member_text(event, "time"));
}

/* The label of the field that a fault is about; NULL: no field's. */
static const char *label_of(const struct fault *fault)
{
    static const struct {
        const char *name, *label;
    } others[] = {{COUNTER_SITE, "Site"}, {COUNTER_CUP_TYPE, "Cup type"}, {COUNTER_EVENT_ID, "Form"}};
    const char *member = member_of(fault);
    for (size_t i = 0; member != NULL && i < sizeof fields / sizeof fields[0]; i++)
        if (strcmp(member, fields[i].name) == 0)
            return fields[i].label;
    for (size_t i = 0; member != NULL && i < sizeof others / sizeof others[0]; i++)
        if (strcmp(member, others[i].name) == 0)
            return others[i].label;
    return NULL;
}

/* A swap states the cups twice, so it may have the same fault twice. */
static bool is_repeated(const struct faults *faults, size_t index)
{
    const char *member = member_of(&faults->items[index]);
    for (size_t i = 0; member != NULL && i < index; i++) {
        const char *earlier = member_of(&faults->items[i]);
        if (earlier != NULL && strcmp(earlier, member) == 0)
            return true;
    }
    return false;
}

/* The sentence alone begins with a capital: a detail goes on from the name of its member. */
static void add_alone(const struct fault *fault, struct buffer *text)
{
    size_t start = text->length;
    page_fault(text, fault);
    if (!text->failed && text->length > start && text->data[start] >= 'a' && text->data[start] <= 'z')
        text->data[start] = (char)(text->data[start] - 'a' + 'A');
}

static void add_fault(const struct fault *fault, struct buffer *text)
{
    const char *label = label_of(fault);
    buffer_add_text(text, "<li>");
    if (label != NULL) {
        html_word(text, label);
        buffer_add_text(text, ": ");
        page_fault(text, fault);
    } else {
        add_alone(fault, text);
    }
    buffer_add_text(text, "</li>\n");
}

void counter_add_faults(const struct faults *faults, struct buffer *text)
{
    if (faults == NULL || faults->count == 0)
        return;
    bool unknown = faults->items[0].reason == REASON_OUTCOME_UNKNOWN;
    buffer_add_text(text, "<section class=\"told wrong\" role=\"alert\">\n<p class=\"money\">");
    html_word(text, unknown ? "It may have been recorded." : "Nothing was recorded.");
    buffer_add_text(text, "</p>\n<ul>\n");
    for (size_t i = 0; i < faults->count; i++)
        if (!is_repeated(faults, i))
            add_fault(&faults->items[i], text);
    if (unknown) {
        buffer_add_text(text, "<li>");
        html_word(text, "Tap the same again: it will be recorded once.");
        buffer_add_text(text, "</li>\n");
    }
    buffer_add_text(text, "</ul>\n</section>\n");
}
