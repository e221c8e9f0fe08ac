/* SPDX-License-Identifier: ISC */
/* The request line and the header fields. Each check names its clause of the standard. Where the standard
 * leaves a choice between repairing a request and refusing it, the request is refused: a proxy in front may
 * have repaired it in another way, and then proxy and service disagree where it ends. */
#include "http/server/framing_head.h"

#include <string.h>
#include <strings.h>

#define STARTS(text, length, word)                                                                           \
    ((length) >= sizeof(word) - 1 && strncasecmp(text, word, sizeof(word) - 1) == 0)
#define IS(text, length, word)                                                                               \
    ((length) == sizeof(word) - 1 && strncasecmp(text, word, sizeof(word) - 1) == 0)

bool framing_fault(struct framing *framing, enum reason reason, const char *detail)
{
    framing->reason = reason;
    framing->detail = detail;
    return false;
}

static bool bad(struct framing_bytes *all, const char *detail)
{
    return framing_fault(all->framing, REASON_BAD_FRAMING, detail);
}

static bool is_digit(char c)
{
    return c >= '0' && c <= '9';
}

static bool is_hex(char c)
{
    return is_digit(c) || (c >= 'a' && c <= 'f') || (c >= 'A' && c <= 'F');
}

static bool is_blank(char c)
{
    return c == ' ' || c == '\t';
}

/* Sets of ASCII characters, a bit for each: 64 in a word. */
typedef const uint64_t character_set[2];

/* RFC 9110 section 5.6.2: letters, digits and !#$%&'*+-.^_`|~ */
static character_set token_characters = {0x03ff6cfa00000000, 0x57ffffffc7fffffe};
/* RFC 3986 section 3.2.2, reg-name: letters, digits, -._~ and %!$&'()*+,;= */
static character_set host_characters = {0x2bff7ff200000000, 0x47fffffe87fffffe};

static bool is_in(character_set set, char c)
{
    unsigned char byte = (unsigned char)c;
    return byte < 128 && (set[byte >> 6] >> (byte & 63) & 1) != 0;
}

static bool is_token(const char *text, size_t length)
{
    for (size_t i = 0; i < length; i++)
        if (!is_in(token_characters, text[i]))
            return false;
    return length > 0;
}

/* RFC 9110 section 5.5: visible characters, blanks, and bytes beyond ASCII; neither NUL nor a bare CR. */
bool framing_is_text(const char *text, size_t length)
{
    unsigned char wrong = 0; /* a byte like the others, so that the compiler takes many at a time */
    for (size_t i = 0; i < length; i++) {
        unsigned char c = (unsigned char)text[i];
        wrong = (unsigned char)(wrong | ((c < ' ') & (c != '\t')) | (c == 0x7f));
    }
    return wrong == 0;
}

/* Puts a text in the place of `old` bytes. */
static void replace(struct framing_bytes *all, size_t at, size_t old, const char *text, size_t length)
{
    memmove(all->bytes + at + length, all->bytes + at + old, all->length - at - old);
    memcpy(all->bytes + at, text, length);
    all->length = all->length - old + length;
}

/* --- the request line ---------------------------------------------------------------------------------- */

/* RFC 9112 section 3.2: uri-host [ ":" port ], which may be empty. */
static bool is_host(const char *text, size_t length)
{
    size_t at = 0;
    if (length > 0 && text[0] == '[') {
        for (at = 1; at < length && (is_hex(text[at]) || text[at] == ':' || text[at] == '.'); at++)
            ;
        if (at < 3 || at == length || text[at] != ']')
            return false;
        at++;
    } else {
        for (; at < length && text[at] != ':'; at++) {
            if (text[at] == '%' && (length - at < 3 || !is_hex(text[at + 1]) || !is_hex(text[at + 2])))
                return false;
            if (!is_in(host_characters, text[at]))
                return false;
        }
    }
    if (at < length && text[at] == ':')
        at++;
    while (at < length && is_digit(text[at]))
        at++;
    return at == length;
}

/* RFC 9112 section 2.3. HTTP/1.2 and higher are served as HTTP/1.1 (RFC 9110 section 2.5). */
static bool take_version(struct framing_bytes *all, const char *version, size_t length)
{
    if (length != 8 || memcmp(version, "HTTP/", 5) != 0 || !is_digit(version[5]) || version[6] != '.' ||
        !is_digit(version[7]))
        return bad(all, "The request line has not the form METHOD target HTTP/1.1 (RFC 9112 section 3).");
    if (version[5] != '1')
        return framing_fault(all->framing, REASON_VERSION_NOT_SUPPORTED,
                             "The service speaks HTTP/1.1 and HTTP/1.0 (RFC 9110 section 15.6.6).");
    all->framing->head.is_http_1_0 = version[7] == '0';
    return true;
}

/* A target is visible ASCII without a fragment (RFC 9112 section 3.2). Its parameters count as fields. */
static bool take_target_characters(struct framing_bytes *all, const char *target, size_t length)
{
    struct framing_head *head = &all->framing->head;
    for (size_t i = 0; i < length; i++) {
        if (target[i] <= ' ' || target[i] >= 0x7f || target[i] == '#')
            return bad(all,
                       "The target has a character that must be percent-encoded (RFC 9112 section 3.2).");
        head->fields += target[i] == '&' || target[i] == '?';
    }
    return head->fields <= FRAMING_FIELDS_MAX ||
           framing_fault(all->framing, REASON_TARGET_TOO_LONG, "The target has too many parameters.");
}

/* RFC 9112 section 3.2.2: rewrites an absolute target to origin form, and writes its host as the field Host.
 * The target begins at `at`; `rest` is the length of the version with its blank and CRLF. */
static bool take_absolute(struct framing_bytes *all, size_t at, size_t length, size_t rest)
{
    struct framing_head *head = &all->framing->head;
    const char *target = all->bytes + at;
    size_t scheme = STARTS(target, length, "http://") ? 7 : STARTS(target, length, "https://") ? 8 : 0;
    if (scheme == 0)
        return bad(all, "The target has none of the forms of RFC 9112 section 3.2.");
    size_t authority = strcspn(target + scheme, "/? ");
    if (authority == 0 || authority > FRAMING_AUTHORITY_MAX || !is_host(target + scheme, authority))
        return bad(all, "The target's host is not a host (RFC 9112 section 3.2.2).");
    memcpy(head->authority, target + scheme, authority);
    head->authority[authority] = '\0';
    bool has_path = target[scheme + authority] == '/';
    replace(all, at, scheme + authority, "/", has_path ? 0 : 1);
    size_t end = at + length - scheme - authority + (has_path ? 0 : 1) + rest;
    replace(all, end, 0, "Host:\r\n", 7);
    replace(all, end + 5, 0, head->authority, authority);
    head->next_line = head->searched = end + 7 + authority - all->read;
    return true;
}

/* The four forms of RFC 9112 section 3.2. */
static bool take_target(struct framing_bytes *all, size_t at, size_t length, size_t rest)
{
    const char *line = all->bytes + all->read, *target = all->bytes + at;
    if (IS(line, at - all->read, "CONNECT "))
        return framing_fault(all->framing, REASON_NOT_IMPLEMENTED,
                             "The service is no proxy: it has no CONNECT (RFC 9110 section 9.3.6).");
    if (!take_target_characters(all, target, length))
        return false;
    if (length > 0 && target[0] == '/')
        return true;
    if (length == 1 && target[0] == '*' && memcmp(line, "OPTIONS ", 8) == 0)
        return true;
    return take_absolute(all, at, length, rest);
}

bool framing_request_line(struct framing_bytes *all, size_t length)
{
    const char *line = all->bytes + all->read, *end = line + length;
    const char *method_end = memchr(line, ' ', length);
    struct framing_head *head = &all->framing->head;
    head->has_request_line = true;
    if (method_end == NULL || !is_token(line, (size_t)(method_end - line)))
        return bad(all, "The request line does not begin with a method (RFC 9112 section 3.1).");
    head->is_head_method = method_end - line == 4 && memcmp(line, "HEAD", 4) == 0;
    const char *target = method_end + 1;
    const char *target_end = memchr(target, ' ', (size_t)(end - target));
    if (target_end == NULL)
        return bad(all, "The request line has not the form METHOD target HTTP/1.1 (RFC 9112 section 3).");
    return take_version(all, target_end + 1, (size_t)(end - target_end - 1)) &&
           take_target(all, (size_t)(target - all->bytes), (size_t)(target_end - target),
                       (size_t)(end + 2 - target_end));
}

/* --- fields -------------------------------------------------------------------------------------------- */

/* RFC 9112 section 6.3: one number only, not even a list of equal ones. */
static bool take_length(struct framing_bytes *all, const char *value, size_t length)
{
    struct framing_head *head = &all->framing->head;
    if (head->has_length)
        return bad(all, "There are two fields Content-Length (RFC 9112 section 6.3).");
    head->has_length = true;
    for (size_t i = 0; i < length; i++) {
        unsigned digit = (unsigned)(value[i] - '0');
        if (!is_digit(value[i]) || head->length > ((uint64_t)INT64_MAX - digit) / 10)
            return bad(all, "Content-Length is not a number of bytes (RFC 9110 section 8.6).");
        head->length = head->length * 10 + digit;
    }
    return length > 0 || bad(all, "Content-Length is not a number of bytes (RFC 9110 section 8.6).");
}

/* RFC 9112 section 6.1. Several fields are one list (RFC 9110 section 5.3). */
static bool take_codings(struct framing_bytes *all, const char *value, size_t length)
{
    struct framing_head *head = &all->framing->head;
    const char *end = value + length;
    head->has_codings = true;
    while (true) {
        const char *comma = memchr(value, ',', (size_t)(end - value));
        const char *last = comma != NULL ? comma : end;
        while (value < last && is_blank(*value))
            value++;
        while (last > value && is_blank(last[-1]))
            last--;
        size_t coding = (size_t)(last - value);
        head->ends_chunked = IS(value, coding, "chunked");
        if (coding == 0 || (head->ends_chunked && head->chunked))
            return bad(all, "Transfer-Encoding has an empty or a repeated coding (RFC 9112 section 6.1).");
        head->chunked |= head->ends_chunked;
        head->unknown_coding |= !head->ends_chunked;
        if (comma == NULL)
            return true;
        value = comma + 1;
    }
}

/* RFC 9112 section 3.2. */
static bool take_host(struct framing_bytes *all, const char *value, size_t length)
{
    if (all->framing->head.hosts++ > 0)
        return bad(all, "There are two fields Host (RFC 9112 section 3.2).");
    return is_host(value, length) || bad(all, "Host is not a host (RFC 9112 section 3.2).");
}

static size_t count(const char *text, size_t length, char which)
{
    size_t found = 0;
    for (size_t i = 0; i < length; i++)
        found += text[i] == which;
    return found;
}

bool framing_field_syntax(struct framing *framing, const char *line, size_t length, size_t *name_length)
{
    const char *colon = memchr(line, ':', length);
    if (is_blank(line[0]))
        return framing_fault(framing, REASON_BAD_FRAMING,
                             "A line begins with a blank (RFC 9112 sections 2.2 and 5.2).");
    if (colon == NULL)
        return framing_fault(framing, REASON_BAD_FRAMING, "A field has no colon (RFC 9112 section 5).");
    *name_length = (size_t)(colon - line);
    if (*name_length > 0 && is_blank(colon[-1]))
        return framing_fault(framing, REASON_BAD_FRAMING,
                             "A blank stands before a field's colon (RFC 9112 section 5.1).");
    if (!is_token(line, *name_length))
        return framing_fault(framing, REASON_BAD_FRAMING,
                             "A field's name is not a token (RFC 9112 section 5).");
    return framing_is_text(colon + 1, (size_t)(line + length - colon - 1)) ||
           framing_fault(framing, REASON_BAD_FRAMING,
                         "A field has a control character, a NUL or a bare CR (RFC 9110 section 5.5).");
}

static bool take_field(struct framing_bytes *all, const char *name, size_t name_length, const char *value,
                       size_t length)
{
    if (IS(name, name_length, "Host"))
        return take_host(all, value, length);
    if (IS(name, name_length, "Content-Length"))
        return take_length(all, value, length);
    if (IS(name, name_length, "Transfer-Encoding"))
        return take_codings(all, value, length);
    if (IS(name, name_length, "Cookie"))
        all->framing->head.fields += count(value, length, ';');
    return true;
}

/* Removes bytes of the line that was just read from the head. */
static void remove_from_line(struct framing_bytes *all, size_t at, size_t length)
{
    replace(all, at, length, "", 0);
    all->framing->head.next_line -= length;
    all->framing->head.searched -= length;
}

bool framing_field_line(struct framing_bytes *all, size_t at, size_t length)
{
    struct framing_head *head = &all->framing->head;
    const char *line = all->bytes + all->read + at;
    size_t name_length;
    if (!framing_field_syntax(all->framing, line, length, &name_length))
        return false;
    const char *value = line + name_length + 1, *end = line + length;
    while (value < end && is_blank(*value))
        value++;
    while (end > value && is_blank(end[-1]))
        end--;
    if (!take_field(all, line, name_length, value, (size_t)(end - value)))
        return false;
    if (++head->fields > FRAMING_FIELDS_MAX)
        return framing_fault(all->framing, REASON_HEAD_TOO_LARGE, "There are too many fields.");
    size_t blanks = (size_t)(line + length - end);
    if (head->authority[0] != '\0' && IS(line, name_length, "Host"))
        remove_from_line(all, all->read + at, length + 2);
    else if (blanks > 0) /* libmicrohttpd would keep them in the value */
        remove_from_line(all, (size_t)(end - all->bytes), blanks);
    return true;
}

/* RFC 9112 sections 6.1 and 6.3. An unknown coding gets 501 if chunked is the last one; otherwise the end of
 * the body is uncertain, which is 400. */
bool framing_body_follows(struct framing *framing)
{
    const struct framing_head *head = &framing->head;
    if (head->hosts == 0 && !head->is_http_1_0)
        return framing_fault(framing, REASON_BAD_FRAMING, "There is no field Host (RFC 9112 section 3.2).");
    if (!head->has_codings)
        return true;
    if (head->has_length)
        return framing_fault(framing, REASON_BAD_FRAMING,
                             "There are both Content-Length and Transfer-Encoding (RFC 9112 section 6.3).");
    if (head->is_http_1_0)
        return framing_fault(framing, REASON_BAD_FRAMING,
                             "HTTP/1.0 has no Transfer-Encoding (RFC 9112 section 6.1).");
    if (!head->ends_chunked)
        return framing_fault(framing, REASON_BAD_FRAMING,
                             "The last transfer coding is not chunked (RFC 9112 section 6.3).");
    return !head->unknown_coding ||
           framing_fault(framing, REASON_NOT_IMPLEMENTED,
                         "Of the transfer codings only chunked is known (RFC 9112 section 6.1).");
}
