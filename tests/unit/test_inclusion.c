/* SPDX-License-Identifier: ISC */
/* Inclusion paths against inclusion_cases.txt, which has published right and wrong paths. Paths of larger
 * trees are compared with the recursive definition of RFC 9162 section 2.1.3.1, written down naively. */
#include "depositd/seal.h"

#include "suite.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { LINE_SIZE = 2048, LEAVES_MAX = 70, PUBLISHED_LEAVES = 8, WORD_SIZE = 1400 };

struct probe {
    char verdict[16], name[80];
    uint64_t index, leaves;
    struct sha256 leaf, root, path[INCLUSION_PATH_MAX];
    size_t length;
    bool sized; /* all hashes have 32 bytes; otherwise the function can't be called */
};

static bool read_hash(const char *hex, size_t length, struct sha256 *hash)
{
    if (length != 2 * SHA256_SIZE)
        return false;
    for (size_t i = 0; i < SHA256_SIZE; i++)
        ck_assert_int_eq(sscanf(hex + 2 * i, "%2hhx", &hash->bytes[i]), 1);
    return true;
}

static bool read_path(const char *text, struct probe *probe)
{
    bool sized = true;
    if (strcmp(text, ".") == 0)
        return true;
    for (const char *at = text;; at++) {
        size_t length = strcspn(at, ",");
        ck_assert_uint_lt(probe->length, INCLUSION_PATH_MAX);
        sized = read_hash(at, length, &probe->path[probe->length++]) && sized;
        at += length;
        if (*at == '\0')
            return sized;
    }
}

/* False: the end of the file. */
static bool read_probe(FILE *file, struct probe *probe)
{
    char line[LINE_SIZE], leaf[WORD_SIZE], root[WORD_SIZE], path[WORD_SIZE];
    unsigned long long index, leaves;
    do
        if (fgets(line, sizeof line, file) == NULL)
            return false;
    while (*line == '#' || *line == '\n');
    *probe = (struct probe){0};
    ck_assert_int_eq(sscanf(line, "%15s %llu %llu %1399s %1399s %1399s %79s", probe->verdict, &index, &leaves,
                            leaf, root, path, probe->name),
                     7);
    probe->index = index;
    probe->leaves = leaves;
    probe->sized = read_hash(leaf, strlen(leaf), &probe->leaf);
    probe->sized = read_hash(root, strlen(root), &probe->root) && probe->sized;
    probe->sized = read_path(path, probe) && probe->sized;
    return true;
}

/* The eight published leaves. */
static struct sha256 published_leaf(size_t index)
{
    static const struct {
        const char *bytes;
        size_t length;
    } leaves[PUBLISHED_LEAVES] = {
        {"", 0},
        {"\x00", 1},
        {"\x10", 1},
        {"\x20\x21", 2},
        {"\x30\x31", 2},
        {"\x40\x41\x42\x43", 4},
        {"\x50\x51\x52\x53\x54\x55\x56\x57", 8},
        {"\x60\x61\x62\x63\x64\x65\x66\x67\x68\x69\x6a\x6b\x6c\x6d\x6e\x6f", 16},
    };
    struct sha256 leaf;
    merkle_leaf(leaves[index].bytes, leaves[index].length, &leaf);
    return leaf;
}

static void assert_found(const struct probe *probe)
{
    struct inclusion inclusion;
    struct sha256 root;
    inclusion_init(&inclusion);
    for (size_t i = 0; i < probe->leaves; i++) {
        const struct sha256 leaf = published_leaf(i);
        inclusion_append(&inclusion, &leaf, i == probe->index);
    }
    ck_assert(inclusion_finish(&inclusion, &root));
    ck_assert_mem_eq(&root, &probe->root, sizeof root);
    ck_assert_uint_eq(inclusion.length, probe->length);
    ck_assert_mem_eq(inclusion.path, probe->path, probe->length * SHA256_SIZE);
}

START_TEST(published_cases)
{
    struct probe probe;
    size_t paths = 0, valid = 0, invalid = 0, unsized = 0;
    FILE *file = fopen(INCLUSION_CASES, "r");
    ck_assert_ptr_nonnull(file);
    while (read_probe(file, &probe)) {
        bool is_path = strcmp(probe.verdict, "path") == 0, is_invalid = strcmp(probe.verdict, "invalid") == 0;
        if (is_path)
            assert_found(&probe);
        ck_assert_msg(probe.sized || is_invalid, "%s", probe.name);
        if (probe.sized)
            ck_assert_msg(inclusion_verify(&probe.leaf, probe.index, probe.leaves, probe.path, probe.length,
                                           &probe.root) != is_invalid,
                          "%s", probe.name);
        paths += is_path;
        invalid += is_invalid;
        valid += !is_path && !is_invalid;
        unsized += !probe.sized;
    }
    fclose(file);
    ck_assert_uint_eq(paths, 36);
    ck_assert_uint_eq(valid, 6);
    ck_assert_uint_eq(invalid, 92);
    ck_assert_uint_eq(unsized, 26);
}
END_TEST

/* MTH and PATH of RFC 9162 sections 2.1.1 and 2.1.3.1, word by word. */
static struct sha256 naive_root(const struct sha256 *leaves, size_t count)
{
    struct sha256 root = leaves[0];
    size_t split = 1;
    if (count == 1)
        return root;
    while (2 * split < count)
        split *= 2;
    const struct sha256 left = naive_root(leaves, split), right = naive_root(leaves + split, count - split);
    merkle_node(&left, &right, &root);
    return root;
}

static size_t naive_path(const struct sha256 *leaves, size_t count, size_t index, struct sha256 *path)
{
    size_t split = 1, length;
    if (count == 1)
        return 0;
    while (2 * split < count)
        split *= 2;
    if (index < split) {
        length = naive_path(leaves, split, index, path);
        path[length] = naive_root(leaves + split, count - split);
    } else {
        length = naive_path(leaves + split, count - split, index - split, path);
        path[length] = naive_root(leaves, split);
    }
    return length + 1;
}

START_TEST(paths_against_the_definition)
{
    struct sha256 leaves[LEAVES_MAX], path[INCLUSION_PATH_MAX], root;
    for (size_t i = 0; i < LEAVES_MAX; i++)
        merkle_leaf(&i, sizeof i, &leaves[i]);
    for (size_t count = 1; count <= LEAVES_MAX; count++) {
        const struct sha256 expected = naive_root(leaves, count);
        for (size_t index = 0; index < count; index++) {
            struct inclusion inclusion;
            inclusion_init(&inclusion);
            for (size_t i = 0; i < count; i++)
                inclusion_append(&inclusion, &leaves[i], i == index);
            ck_assert(inclusion_finish(&inclusion, &root));
            ck_assert_mem_eq(&root, &expected, sizeof root);
            ck_assert_uint_eq(inclusion.length, naive_path(leaves, count, index, path));
            ck_assert_mem_eq(inclusion.path, path, inclusion.length * sizeof *path);
            ck_assert(inclusion_verify(&leaves[index], index, count, path, inclusion.length, &root));
            ck_assert(!inclusion_verify(&leaves[index], index + 1, count, path, inclusion.length, &root));
        }
    }
}
END_TEST

START_TEST(no_path_where_there_is_no_leaf)
{
    struct inclusion inclusion;
    struct sha256 root;
    const struct sha256 leaf = published_leaf(0);
    inclusion_init(&inclusion);
    ck_assert(!inclusion_finish(&inclusion, &root));
    inclusion_append(&inclusion, &leaf, false);
    ck_assert(!inclusion_finish(&inclusion, &root));
    ck_assert(!inclusion_verify(&leaf, 0, 0, NULL, 0, &leaf));
    ck_assert(!inclusion_verify(&leaf, UINT64_MAX, 1, NULL, 0, &leaf));
}
END_TEST

Suite *file_suite(void)
{
    TCase *cases = tcase_create("inclusion");
    tcase_add_test(cases, published_cases);
    tcase_add_test(cases, paths_against_the_definition);
    tcase_add_test(cases, no_path_where_there_is_no_leaf);
    Suite *suite = suite_create("inclusion");
    suite_add_tcase(suite, cases);
    return suite;
}
