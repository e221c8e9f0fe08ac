/* SPDX-License-Identifier: ISC */
/* The place of the reading of a camt.053 message, and its early end. */
#include "payment/camt053_reading.h"

#include <stdarg.h>
#include <stdio.h>
#include <string.h>

struct camt_statement *camt053_statement(struct reading *reading)
{
    return &reading->document->statements[reading->document->count - 1];
}

struct detail *camt053_detail(struct reading *reading)
{
    return &reading->entry.details[reading->entry.detail_count - 1];
}

void camt053_refuse(struct reading *reading, enum camt_result result, const char *format, ...)
{
    va_list arguments;
    if (reading->result != CAMT_OK)
        return;
    reading->result = result;
    if (reading->reader != NULL)
        reading->document->error_line = xmlTextReaderGetParserLineNumber(reading->reader);
    va_start(arguments, format);
    vsnprintf(reading->document->detail, sizeof reading->document->detail, format, arguments);
    va_end(arguments);
}

const char *camt053_element(const struct reading *reading)
{
    const char *slash = strrchr(reading->path, '/');
    return slash != NULL ? slash + 1 : reading->path;
}

void camt053_refuse_element(struct reading *reading, const char *what)
{
    camt053_refuse(reading, CAMT_INVALID, "%.40s %s", camt053_element(reading), what);
}

void camt053_refuse_memory(struct reading *reading)
{
    camt053_refuse(reading, CAMT_NO_MEMORY, "out of memory");
}
