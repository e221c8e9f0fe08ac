/* SPDX-License-Identifier: ISC */
/* Collecting faults. */
#include "app/transaction/fault.h"

#include "base/arena.h"
#include "base/memory.h"

#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { DETAIL_MAX = 300 };

const char *fault_where(const struct fault *fault)
{
    return fault->parameter != NULL ? fault->parameter : fault->pointer;
}

void faults_init(struct faults *faults, struct arena *arena)
{
    *faults = (struct faults){.arena = arena};
}

size_t faults_found(const struct faults *faults)
{
    return faults->count + faults->dropped;
}

bool faults_are_full(const struct faults *faults)
{
    return faults->count == FAULTS_MAX;
}

bool faults_have(const struct faults *faults, const char *pointer)
{
    for (size_t i = 0; i < faults->count; i++) {
        const char *there = faults->items[i].pointer;
        size_t length = there != NULL ? strlen(there) : 0;
        if (length > 0 && strncmp(pointer, there, length) == 0 &&
            (pointer[length] == '/' || pointer[length] == '\0'))
            return true;
    }
    return false;
}

/* A ready-made fault for each reason, for use when there is no memory to make one. */
static struct fault whole[REASON_COUNT] = {
#define X(name, code, status, retryable, title)                                                              \
    [REASON_##name] = {.reason = REASON_##name, .detail = title, .format = "%s"},
    REASON_TABLE(X)
#undef X
};

void faults_replace(struct faults *faults, enum reason reason)
{
    faults->items = &whole[reason];
    faults->count = 1;
    faults->dropped = 0;
    faults->closed = true;
}

/* Whether the reason says no more than that the service failed. A broken seal is a verdict. */
static bool is_own_failure(enum reason reason)
{
    return reason_info(reason)->status >= 500 && reason != REASON_SEAL_BROKEN;
}

static const char *copy(struct arena *arena, const char *text)
{
    const char *copied = arena_copy(arena, text, strlen(text));
    return copied != NULL ? copied : "";
}

static PRINTF_LIKE(5, 0) void add(struct faults *faults, enum reason reason, const char *pointer,
                                  const char *parameter, const char *format, va_list arguments)
{
    char detail[DETAIL_MAX];
    if (faults->closed)
        return;
    if (faults->count == FAULTS_MAX) {
        faults->dropped++;
        return;
    }
    if (arena_grow(faults->arena, &faults->items, faults->count, &faults->capacity, sizeof *faults->items)) {
        vsnprintf(detail, sizeof detail, format, arguments);
        faults->items[faults->count++] = (struct fault){
            .reason = reason,
            .pointer = pointer != NULL ? copy(faults->arena, pointer) : NULL,
            .parameter = parameter != NULL ? copy(faults->arena, parameter) : NULL,
            .detail = copy(faults->arena, detail),
            .format = format,
        };
    }
    if (memory_has_failed())
        faults_replace(faults, is_own_failure(reason) ? reason : REASON_OVERLOADED);
}

void faults_add(struct faults *faults, enum reason reason, const char *pointer, const char *format, ...)
{
    va_list arguments;
    va_start(arguments, format);
    add(faults, reason, pointer, NULL, format, arguments);
    va_end(arguments);
}

void faults_add_parameter(struct faults *faults, enum reason reason, const char *parameter,
                          const char *format, ...)
{
    va_list arguments;
    va_start(arguments, format);
    add(faults, reason, NULL, parameter, format, arguments);
    va_end(arguments);
}

void faults_format(struct faults *faults, const char *format)
{
    if (!faults->closed && faults->count > 0)
        faults->items[faults->count - 1].format = format;
}

void faults_refuse(struct faults *faults, enum reason reason)
{
    faults_add(faults, reason, NULL, "%s", reason_info(reason)->title);
}

void faults_place(struct faults *faults, size_t index, const char *pointer, const char *words)
{
    char detail[DETAIL_MAX];
    if (faults->closed)
        return;
    struct fault *fault = &faults->items[index];
    int placed = snprintf(detail, sizeof detail, "%s: ", words);
    snprintf(detail, sizeof detail, "%s: %s", words, fault->detail);
    fault->placed = placed < DETAIL_MAX ? (size_t)placed : 0;
    fault->pointer = copy(faults->arena, pointer);
    fault->detail = copy(faults->arena, detail);
    faults->in_words = true;
    if (memory_has_failed())
        faults_replace(faults, REASON_OVERLOADED);
}

/* The line that a fault was placed at; 0: it concerns the whole, or another part of the request. */
static unsigned long line_of(const struct fault *fault)
{
    return fault->pointer != NULL && fault->pointer[0] == '/' ? strtoul(fault->pointer + 1, NULL, 10) : 0;
}

void faults_order_by_line(struct faults *faults)
{
    for (size_t i = 1; i < faults->count; i++) {
        struct fault fault = faults->items[i];
        size_t k = i;
        for (; k > 0 && line_of(&faults->items[k - 1]) > line_of(&fault); k--)
            faults->items[k] = faults->items[k - 1];
        faults->items[k] = fault;
    }
}
