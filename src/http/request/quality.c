/* SPDX-License-Identifier: ISC */
/* Reads quality values. */
#include "http/request/quality.h"

#include <string.h>
#include <strings.h>

size_t quality_name_length(const char *element)
{
    return strcspn(element, "; \t,");
}

/* Reads "0.75" as thousandths; a malformed number counts as 0. */
static int read_quality(const char *text)
{
    int quality = text[0] == '1' ? QUALITY_MAX : 0;
    if ((text[0] != '0' && text[0] != '1') || text[1] != '.')
        return quality;
    text += 2;
    for (int unit = QUALITY_MAX / 10; unit > 0 && *text >= '0' && *text <= '9'; unit /= 10)
        quality += unit * (*text++ - '0');
    return quality < QUALITY_MAX ? quality : QUALITY_MAX;
}

int quality_of(const char *parameters)
{
    while (*parameters == ';' || *parameters == ' ' || *parameters == '\t') {
        parameters += strspn(parameters, "; \t");
        if (strncasecmp(parameters, "q=", 2) == 0)
            return read_quality(parameters + 2);
        parameters += strcspn(parameters, ";,");
    }
    return QUALITY_MAX;
}
