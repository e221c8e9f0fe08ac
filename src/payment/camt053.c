/* SPDX-License-Identifier: ISC */
/* The reader walks through the document element by element, and keeps the path to the current element. */
#include "payment/camt053.h"

#include "base/memory.h"
#include "payment/camt053_elements.h"
#include "payment/camt053_texts.h"

#include <stdlib.h>
#include <string.h>

#define NAMESPACE "urn:iso:std:iso:20022:tech:xsd:camt.053.001.08"

enum {
    TEXT_MAX = 512,
    ATTRIBUTES_MAX = 200 /* the schema has at most two */
};

/* Supplementary data may be of any namespace. */
static bool is_foreign(const struct reading *reading)
{
    return strstr(reading->path, "/SplmtryData/Envlp/") != NULL;
}

static bool enter(struct reading *reading, const char *name)
{
    size_t length = strlen(name);
    if (reading->depth == CAMT053_DEPTH_MAX || reading->path_length + length + 2 > sizeof reading->path) {
        camt053_refuse(reading, CAMT_TOO_LARGE, "elements are nested too deeply");
        return false;
    }
    reading->ends[reading->depth++] = reading->path_length;
    if (reading->path_length > 0)
        reading->path[reading->path_length++] = '/';
    memcpy(reading->path + reading->path_length, name, length + 1);
    reading->path_length += length;
    return true;
}

static void leave(struct reading *reading)
{
    reading->path_length = reading->ends[--reading->depth];
    reading->path[reading->path_length] = '\0';
}

static void check_element(struct reading *reading)
{
    const xmlChar *namespace = xmlTextReaderConstNamespaceUri(reading->reader);
    bool ours = namespace != NULL && strcmp((const char *)namespace, NAMESPACE) == 0;
    bool path_fits = reading->depth > 2 || strcmp(reading->path, "Document") == 0 ||
                     strcmp(reading->path, "Document/BkToCstmrStmt") == 0;
    if ((!ours || !path_fits) && !is_foreign(reading))
        camt053_refuse(reading, CAMT_OTHER, "is not a message of the namespace %s", NAMESPACE);
}

static void note_currency(struct reading *reading)
{
    if (strcmp(camt053_element(reading), "Amt") != 0)
        return;
    xmlChar *code = xmlTextReaderGetAttribute(reading->reader, (const xmlChar *)"Ccy");
    reading->other_currency = code == NULL || strcmp((const char *)code, reading->currency->code) != 0;
    reading->amount_currency = code != NULL ? currency_find((const char *)code) : NULL;
    xmlFree(code);
}

/* The text without the white space around it. */
static const char *trimmed_text(struct reading *reading)
{
    static const char white[] = " \t\r\n";
    struct buffer *text = &reading->text;
    while (text->length > 0 && strchr(white, text->data[text->length - 1]) != NULL)
        text->data[--text->length] = '\0';
    return text->length > 0 ? text->data + strspn(text->data, white) : "";
}

static void take_text(struct reading *reading)
{
    if (!camt053_has_text(reading))
        return;
    if (reading->text.failed)
        camt053_refuse_element(reading, "is too long");
    else
        camt053_take_text(reading, trimmed_text(reading));
}

static void end_element(struct reading *reading)
{
    take_text(reading);
    camt053_end(reading);
    leave(reading);
    buffer_reset(&reading->text);
}

/* An amount with an element inside would be read as less than it says. */
static void check_parent(struct reading *reading)
{
    if (camt053_has_text(reading))
        camt053_refuse_element(reading, "has elements within its text");
}

static void begin_element(struct reading *reading)
{
    check_parent(reading);
    if (!enter(reading, (const char *)xmlTextReaderConstLocalName(reading->reader)))
        return;
    buffer_reset(&reading->text);
    check_element(reading);
    if (reading->result != CAMT_OK)
        return;
    note_currency(reading);
    camt053_begin(reading);
    if (reading->result == CAMT_OK && xmlTextReaderIsEmptyElement(reading->reader) == 1)
        end_element(reading);
}

static void take_node(struct reading *reading)
{
    const char *text;
    switch (xmlTextReaderNodeType(reading->reader)) {
    case XML_READER_TYPE_ELEMENT:
        begin_element(reading);
        break;
    case XML_READER_TYPE_END_ELEMENT:
        end_element(reading);
        break;
    case XML_READER_TYPE_TEXT:
    case XML_READER_TYPE_CDATA:
        text = (const char *)xmlTextReaderConstValue(reading->reader);
        buffer_add_text(&reading->text, text != NULL ? text : "");
        break;
    default: /* white space, comments, processing instructions */
        break;
    }
}

static void walk(struct reading *reading)
{
    int more = 1;
    while (reading->result == CAMT_OK && (more = xmlTextReaderRead(reading->reader)) == 1)
        take_node(reading);
    if (memory_has_failed()) /* libxml2 reports a lack of memory as an error in the text, or leaves something
                                out */
        camt053_refuse_memory(reading);
    else if (more < 0)
        camt053_refuse(reading, CAMT_NOT_XML, "is not well-formed XML in UTF-8");
    else if (reading->document->count == 0)
        camt053_refuse(reading, CAMT_INVALID, "has no statement");
}

/* XML is read as UTF-8 whatever encoding it declares, so a document type can only look like this. */
static bool has_document_type(const char *text, size_t length)
{
    static const char beginning[] = "<!DOCTYPE";
    return memmem(text, length, beginning, sizeof beginning - 1) != NULL;
}

/* libxml2 compares each attribute of an element with all others, and takes half a minute for a megabyte of
 * them. All attributes of an element lie between a < and the next, because their values may not contain <.
 * The text after the element lies there as well, so its equals signs are also counted. */
static bool has_many_attributes(const char *text, size_t length)
{
    size_t signs = 0;
    bool counts = false; /* false in comments and the like */
    for (size_t i = 0; i < length && signs <= ATTRIBUTES_MAX; i++)
        if (text[i] == '<') {
            signs = 0;
            counts = i + 1 < length && text[i + 1] != '!' && text[i + 1] != '?';
        } else {
            signs += counts && text[i] == '=';
        }
    return signs > ATTRIBUTES_MAX;
}

void camt053_init(void)
{
    (void)xmlMemSetup(free, memory_allocate, memory_reallocate, memory_copy_text);
    xmlInitParser();
}

enum camt_result camt053_read(const char *text, size_t length, const struct currency *currency,
                              struct arena *arena, struct camt_document *document)
{
    struct reading reading = {.arena = arena, .currency = currency, .document = document};
    *document = (struct camt_document){0};
    if (length > INT32_MAX) {
        camt053_refuse(&reading, CAMT_TOO_LARGE, "is too large");
        return reading.result;
    }
    if (has_document_type(text, length)) {
        camt053_refuse(&reading, CAMT_NOT_XML, "has a document type, which no ISO 20022 message has");
        return reading.result;
    }
    if (has_many_attributes(text, length)) {
        camt053_refuse(&reading, CAMT_TOO_LARGE, "an element has more than %d attributes", ATTRIBUTES_MAX);
        return reading.result;
    }
    buffer_init(&reading.text, TEXT_MAX);
    reading.reader =
        xmlReaderForMemory(text, (int)length, NULL, "UTF-8",
                           XML_PARSE_IGNORE_ENC | XML_PARSE_NONET | XML_PARSE_NOERROR | XML_PARSE_NOWARNING);
    if (reading.reader == NULL)
        camt053_refuse_memory(&reading);
    else
        walk(&reading);
    xmlFreeTextReader(reading.reader);
    buffer_dispose(&reading.text);
    return reading.result;
}
