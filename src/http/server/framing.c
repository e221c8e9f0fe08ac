/* SPDX-License-Identifier: ISC */
/* The reader's states. It reads one element at a time: a head, a piece of a body, a chunk's size, the end of
 * a chunk, a trailer line. It holds an incomplete element back as a whole, so a stand-in can follow at any
 * time. */
#include "http/server/framing.h"

#include "http/server/framing_head.h"

#include <string.h>

enum step { STEP_ON, STEP_HOLD, STEP_REFUSE };

static const char stand_in_get[] = "GET /* HTTP/1.1\r\nHost:*\r\nConnection:close\r\n\r\n";
static const char stand_in_head[] = "HEAD /* HTTP/1.1\r\nHost:*\r\nConnection:close\r\n\r\n";

static void begin_head(struct framing *framing)
{
    framing->state = FRAMING_HEAD;
    framing->had_blank_line = false;
    memset(&framing->head, 0, offsetof(struct framing_head, authority) + 1);
}

void framing_init(struct framing *framing)
{
    framing->reason = REASON_NONE;
    framing->detail = NULL;
    framing->requests = 0;
    framing->left = 0;
    framing->trailers = 0;
    begin_head(framing);
}

static enum step refuse(struct framing_bytes *all, enum reason reason, const char *detail)
{
    (void)framing_fault(all->framing, reason, detail);
    return STEP_REFUSE;
}

static enum step bad(struct framing_bytes *all, const char *detail)
{
    return refuse(all, REASON_BAD_FRAMING, detail);
}

/* Passes the next bytes to libmicrohttpd unchanged. */
static void pass(struct framing_bytes *all, size_t length)
{
    if (all->write != all->read)
        memmove(all->bytes + all->write, all->bytes + all->read, length);
    all->read += length;
    all->write += length;
}

static size_t unread(const struct framing_bytes *all)
{
    return all->length - all->read;
}

static size_t least(uint64_t a, size_t b)
{
    return a < b ? (size_t)a : b;
}

/* --- heads --------------------------------------------------------------------------------------------- */

static enum step end_head(struct framing_bytes *all, size_t length)
{
    struct framing *framing = all->framing;
    if (!framing_body_follows(framing))
        return STEP_REFUSE;
    bool chunked = framing->head.chunked;
    framing->requests++;
    framing->left = framing->head.length;
    pass(all, length);
    begin_head(framing);
    if (chunked)
        framing->state = FRAMING_CHUNK_LINE;
    else if (framing->left > 0)
        framing->state = FRAMING_BODY;
    return STEP_ON;
}

static enum step head_is_not_complete(struct framing_bytes *all)
{
    if (unread(all) < FRAMING_HEAD_MAX)
        return STEP_HOLD;
    if (!all->framing->head.has_request_line)
        return refuse(all, REASON_TARGET_TOO_LONG, "The request line is longer than 8000 bytes.");
    return refuse(all, REASON_HEAD_TOO_LARGE, "The request line and the fields are longer than 8000 bytes.");
}

/* RFC 9112 section 2.2: accept one empty line before a request, which old clients send after a body. */
static enum step skip_blank_line(struct framing_bytes *all)
{
    struct framing *framing = all->framing;
    if (framing->had_blank_line)
        return bad(all, "There is no request line (RFC 9112 section 2.2).");
    framing->had_blank_line = true;
    framing->head.searched = 0;
    all->read += 2;
    return STEP_ON;
}

static enum step read_head(struct framing_bytes *all)
{
    struct framing_head *head = &all->framing->head;
    while (true) {
        const char *bytes = all->bytes + all->read;
        size_t most = least(FRAMING_HEAD_MAX, unread(all)), line = head->next_line;
        const char *end = memchr(bytes + head->searched, '\n', most - head->searched);
        if (end == NULL) {
            head->searched = most;
            return head_is_not_complete(all);
        }
        if (end == bytes + line ||
            end[-1] != '\r') /* section 2.2 permits LF alone, and permits refusing it */
            return bad(all, "A line ends with LF alone (RFC 9112 section 2.2).");
        size_t length = (size_t)(end - bytes) - line - 1;
        if (length == 0)
            return head->has_request_line ? end_head(all, line + 2) : skip_blank_line(all);
        head->next_line = head->searched = line + length + 2;
        if (!(head->has_request_line ? framing_field_line(all, line, length)
                                     : framing_request_line(all, length)))
            return STEP_REFUSE;
    }
}

/* --- bodies -------------------------------------------------------------------------------------------- */

static enum step read_body(struct framing_bytes *all)
{
    struct framing *framing = all->framing;
    size_t length = least(framing->left, unread(all));
    pass(all, length);
    framing->left -= length;
    if (framing->left > 0)
        return STEP_HOLD;
    framing->state = framing->state == FRAMING_BODY ? FRAMING_HEAD : FRAMING_CHUNK_END;
    return STEP_ON;
}

static int hex_value(char c)
{
    return c >= '0' && c <= '9'   ? c - '0'
           : c >= 'a' && c <= 'f' ? c - 'a' + 10
           : c >= 'A' && c <= 'F' ? c - 'A' + 10
                                  : -1;
}

/* RFC 9112 section 7.1. Returns the number of digits; 0 if there are none, or the size is beyond 63 bits. */
static size_t read_size(const char *line, size_t length, uint64_t *size)
{
    size_t digits = 0;
    *size = 0;
    while (digits < length && hex_value(line[digits]) >= 0) {
        if (*size > INT64_MAX >> 4)
            return 0;
        *size = *size << 4 | (uint64_t)hex_value(line[digits++]);
    }
    return digits;
}

/* RFC 9112 section 7.1.1: extensions begin with a semicolon, which blanks may precede. */
static bool is_extension(const char *text, size_t length)
{
    size_t at = 0;
    while (at < length && (text[at] == ' ' || text[at] == '\t'))
        at++;
    return length == 0 || (at < length && text[at] == ';' && framing_is_text(text, length));
}

static enum step read_chunk_line(struct framing_bytes *all)
{
    struct framing *framing = all->framing;
    const char *line = all->bytes + all->read;
    size_t most = least(FRAMING_CHUNK_LINE_MAX, unread(all));
    const char *end = memchr(line, '\n', most);
    if (most > 0 && hex_value(line[0]) < 0)
        return bad(all, "A chunk does not begin with its size (RFC 9112 section 7.1).");
    if (end == NULL && most < FRAMING_CHUNK_LINE_MAX)
        return STEP_HOLD;
    if (end == NULL)
        return bad(all, "A chunk's extensions are too long (RFC 9112 section 7.1.1).");
    if (end[-1] != '\r')
        return bad(all, "A chunk's size ends with LF alone (RFC 9112 section 7.1).");
    size_t length = (size_t)(end - line) - 1, digits = read_size(line, length, &framing->left);
    if (digits == 0 || !is_extension(line + digits, length - digits))
        return bad(all, "A chunk's size is malformed (RFC 9112 section 7.1).");
    pass(all, digits);
    all->read += length - digits;
    pass(all, 2);
    framing->trailers = 0;
    framing->state = framing->left > 0 ? FRAMING_CHUNK_DATA : FRAMING_TRAILERS;
    return STEP_ON;
}

static enum step read_chunk_end(struct framing_bytes *all)
{
    const char *bytes = all->bytes + all->read;
    size_t length = least(2, unread(all));
    if (memcmp(bytes, "\r\n", length) != 0)
        return bad(all, "A chunk is longer than its size (RFC 9112 section 7.1).");
    if (length < 2)
        return STEP_HOLD;
    pass(all, 2);
    all->framing->state = FRAMING_CHUNK_LINE;
    return STEP_ON;
}

/* Trailer fields are checked and dropped, as RFC 9112 section 7.1.2 allows: no handler reads any. */
static enum step read_trailer(struct framing_bytes *all)
{
    struct framing *framing = all->framing;
    const char *line = all->bytes + all->read;
    size_t room = FRAMING_TRAILERS_MAX - framing->trailers, most = least(room, unread(all)), name_length;
    const char *end = memchr(line, '\n', most);
    if (end == NULL && most < room)
        return STEP_HOLD;
    if (end == NULL)
        return refuse(all, REASON_HEAD_TOO_LARGE, "The trailer fields are longer than 1024 bytes.");
    if (end == line || end[-1] != '\r')
        return bad(all, "A line ends with LF alone (RFC 9112 section 2.2).");
    size_t length = (size_t)(end - line) - 1;
    if (length == 0) {
        pass(all, 2);
        framing->state = FRAMING_HEAD;
        return STEP_ON;
    }
    if (!framing_field_syntax(framing, line, length, &name_length))
        return STEP_REFUSE;
    all->read += length + 2;
    framing->trailers += length + 2;
    return STEP_ON;
}

static enum step read_element(struct framing_bytes *all)
{
    switch (all->framing->state) {
    case FRAMING_HEAD:
        return read_head(all);
    case FRAMING_BODY:
    case FRAMING_CHUNK_DATA:
        return read_body(all);
    case FRAMING_CHUNK_LINE:
        return read_chunk_line(all);
    case FRAMING_CHUNK_END:
        return read_chunk_end(all);
    case FRAMING_TRAILERS:
        return read_trailer(all);
    case FRAMING_OVER:
        break;
    }
    return STEP_REFUSE;
}

/* --- the whole ----------------------------------------------------------------------------------------- */

static void number_refused(struct framing *framing)
{
    if (framing->state == FRAMING_HEAD)
        framing->requests++;
}

struct framing_split framing_read(struct framing *framing, char *bytes, size_t length)
{
    struct framing_bytes all = {.framing = framing, .bytes = bytes, .length = length};
    enum step step = STEP_ON;
    if (framing->reason != REASON_NONE)
        return (struct framing_split){0, 0};
    while (step == STEP_ON && all.read < all.length)
        step = read_element(&all);
    if (step == STEP_REFUSE) {
        number_refused(framing);
        return (struct framing_split){all.write, 0};
    }
    size_t hold = unread(&all);
    if (all.write != all.read)
        memmove(bytes + all.write, bytes + all.read, hold);
    return (struct framing_split){all.write, hold};
}

void framing_refuse(struct framing *framing, enum reason reason, const char *detail)
{
    if (framing->reason != REASON_NONE)
        return;
    (void)framing_fault(framing, reason, detail);
    number_refused(framing);
}

static size_t write_text(struct framing *framing, char *bytes, const char *text)
{
    size_t length = strlen(text);
    memcpy(bytes, text, length);
    framing->state = FRAMING_OVER;
    return length;
}

static size_t fill(struct framing *framing, char *bytes, size_t room, bool *can)
{
    size_t length = least(framing->left, room);
    *can = framing->left <= FRAMING_FILL_MAX;
    if (!*can)
        return 0;
    memset(bytes, ' ', length);
    framing->left -= length;
    if (framing->left == 0)
        framing->state = framing->state == FRAMING_BODY ? FRAMING_OVER : FRAMING_CHUNK_END;
    return length;
}

size_t framing_stand_in(struct framing *framing, char *bytes, size_t room, bool *can)
{
    *can = true;
    switch (framing->state) {
    case FRAMING_HEAD:
        return write_text(framing, bytes, framing->head.is_head_method ? stand_in_head : stand_in_get);
    case FRAMING_BODY:
    case FRAMING_CHUNK_DATA:
        return fill(framing, bytes, room, can);
    case FRAMING_CHUNK_LINE:
        return write_text(framing, bytes, "0\r\n\r\n");
    case FRAMING_CHUNK_END:
        return write_text(framing, bytes, "\r\n0\r\n\r\n");
    case FRAMING_TRAILERS:
        return write_text(framing, bytes, "\r\n");
    case FRAMING_OVER:
        break;
    }
    return 0;
}

bool framing_is_within(const struct framing *framing, size_t held)
{
    return framing->state != FRAMING_OVER && (framing->state != FRAMING_HEAD || held > 0);
}
