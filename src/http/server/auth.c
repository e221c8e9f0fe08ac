/* SPDX-License-Identifier: ISC */
/* Secrets are long and random. They are looked up by their hash, so the time that a comparison takes reveals
 * nothing about them. */
#include "http/server/auth.h"

#include <string.h>
#include <strings.h>

enum { SECRET_MAX = 256, BASIC_MAX = CODE_MAX + 1 + SECRET_MAX };

static void read_secret(const char *secret, size_t length, struct credentials *credentials)
{
    credentials->given = length > 0 && length <= SECRET_MAX;
    if (credentials->given)
        sha256_of(secret, length, &credentials->secret_hash);
}

static int base64_value(char character)
{
    static const char alphabet[] = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
    const char *found = character != '\0' ? strchr(alphabet, character) : NULL;
    return found != NULL ? (int)(found - alphabet) : -1;
}

/* RFC 4648 section 4. Returns the number of bytes; 0: malformed or too long. */
static size_t base64_decode(const char *text, char into[static BASIC_MAX])
{
    size_t count = 0;
    unsigned bits = 0;
    int held = 0; /* bits not written yet */
    for (; *text != '\0' && *text != '='; text++) {
        int value = base64_value(*text);
        if (value < 0)
            return 0;
        bits = bits << 6 | (unsigned)value;
        held += 6;
        if (held < 8)
            continue;
        if (count == BASIC_MAX)
            return 0;
        held -= 8;
        into[count++] = (char)(bits >> held & 0xff);
    }
    return text[strspn(text, "=")] == '\0' ? count : 0;
}

static void read_basic(const char *encoded, struct credentials *credentials)
{
    char pair[BASIC_MAX];
    size_t length = base64_decode(encoded, pair);
    const char *colon = memchr(pair, ':', length);
    size_t name_length = colon != NULL ? (size_t)(colon - pair) : 0;
    if (name_length == 0 || name_length > CODE_MAX || memchr(pair, '\0', length) != NULL)
        return;
    memcpy(credentials->name, pair, name_length);
    read_secret(colon + 1, length - name_length - 1, credentials);
}

/* Returns the text after the scheme's name and the spaces; NULL: it is another scheme. */
static const char *after_scheme(const char *authorization, const char *scheme)
{
    size_t length = strlen(scheme);
    if (strncasecmp(authorization, scheme, length) != 0 || authorization[length] != ' ')
        return NULL;
    return authorization + length + strspn(authorization + length, " ");
}

void credentials_read(const char *authorization, const char *cookie, struct credentials *credentials)
{
    *credentials = (struct credentials){.given = false};
    if (authorization == NULL && cookie != NULL) {
        read_secret(cookie, strlen(cookie), credentials);
        credentials->by_session = credentials->given;
    }
    if (authorization == NULL)
        return;
    const char *token = after_scheme(authorization, "Bearer");
    const char *encoded = after_scheme(authorization, "Basic");
    if (token != NULL)
        read_secret(token, strlen(token), credentials);
    else if (encoded != NULL)
        read_basic(encoded, credentials);
}

/* A browser that does not send Sec-Fetch-Site still sends the page's origin with a form. */
bool sender_is_elsewhere(const struct sender *sender)
{
    if (sender->fetch_site != NULL)
        return strcmp(sender->fetch_site, "same-origin") != 0 && strcmp(sender->fetch_site, "none") != 0;
    const char *authority = sender->origin != NULL ? strstr(sender->origin, "://") : NULL;
    return authority == NULL || sender->host == NULL || strcasecmp(authority + 3, sender->host) != 0;
}

/* A client that sends neither header is no browser. It may use Basic, but sessions are for browsers. */
bool credentials_borrowed(const struct credentials *credentials, const struct sender *sender)
{
    bool by_basic = credentials->name[0] != '\0' && (sender->fetch_site != NULL || sender->origin != NULL);
    return (by_basic || credentials->by_session) && sender_is_elsewhere(sender);
}

const struct identity *credentials_identity(const struct credentials *credentials,
                                            const struct snapshot *snapshot)
{
    if (!credentials->given || credentials->by_session || snapshot == NULL)
        return NULL;
    const struct identity *identity = snapshot_identity(snapshot, &credentials->secret_hash);
    if (identity != NULL && credentials->name[0] != '\0' && strcmp(identity->name, credentials->name) != 0)
        return NULL;
    return identity;
}
