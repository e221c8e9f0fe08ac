/* SPDX-License-Identifier: ISC */
/* The seal: SHA-256, and the Merkle tree against published vectors and against the definition written down
 * naively. A frontier that was stored and restored goes on as before. */
#include "depositd/seal.h"

#include "suite.h"

#include <stdlib.h>
#include <string.h>

enum { LEAVES_MAX = 200 };

static void assert_hex(const struct sha256 *digest, const char *expected)
{
    char text[SHA256_HEX_MAX];
    sha256_hex(digest, text);
    ck_assert_str_eq(text, expected);
}

static void assert_same(const struct sha256 *digest, const struct sha256 *expected)
{
    ck_assert_mem_eq(digest->bytes, expected->bytes, SHA256_SIZE);
}

static struct sha256 numbered_leaf(uint32_t number)
{
    struct sha256 leaf;
    merkle_leaf(&number, sizeof number, &leaf);
    return leaf;
}

/* FIPS 180: the one-block and two-block examples and the empty message, from memory. */
START_TEST(sha256_examples)
{
    static const struct {
        const char *message, *digest;
    } examples[] = {
        {"abc", "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"},
        {"abcdbcdecdefdefgefghfghighijhijkijkljklmklmnlmnomnopnopq",
         "248d6a61d20638b8e5c026930c3e6039a33ce45964ff2167f6ecedd419db06c1"},
        {"", "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855"},
    };
    for (size_t i = 0; i < sizeof examples / sizeof *examples; i++) {
        struct sha256 digest;
        sha256_of(examples[i].message, strlen(examples[i].message), &digest);
        assert_hex(&digest, examples[i].digest);
    }
}
END_TEST

/* RFC 6962 section 2.1 and RFC 9162 section 2.1; values of transparency-dev/merkle, rfc6962/rfc6962_test.go.
 */
START_TEST(leaf_and_node_hashes)
{
    struct sha256 hash;
    merkle_leaf("", 0, &hash);
    assert_hex(&hash, "6e340b9cffb37a989ca544e6bb780a2c78901d3fb33738768511a30617afa01d");
    merkle_leaf(NULL, 0, &hash);
    assert_hex(&hash, "6e340b9cffb37a989ca544e6bb780a2c78901d3fb33738768511a30617afa01d");
    merkle_leaf("L123456", 7, &hash);
    assert_hex(&hash, "395aa064aa4c29f7010acfe3f25db9485bbd4b91897b6ad7ad547639252b4d56");
}
END_TEST

/* The published node hash is over children that are no hashes (N123 and N456), which merkle_node() does not
 * take; the node over the first two leaves is the root of two in the table below. The function gives the same
 * if the result replaces an operand. */
START_TEST(node_over_its_children)
{
    const struct sha256 left = numbered_leaf(1), right = numbered_leaf(2);
    uint8_t joined[1 + 2 * SHA256_SIZE] = {0x01};
    memcpy(joined + 1, &left, SHA256_SIZE);
    memcpy(joined + 1 + SHA256_SIZE, &right, SHA256_SIZE);
    struct sha256 expected, node;
    sha256_of(joined, sizeof joined, &expected);

    merkle_node(&left, &right, &node);
    assert_same(&node, &expected);
    node = left;
    merkle_node(&node, &right, &node);
    assert_same(&node, &expected);
    node = right;
    merkle_node(&left, &node, &node);
    assert_same(&node, &expected);
}
END_TEST

/* The eight leaves and the roots over the first 0 to 8 of them: google/certificate-transparency,
 * cpp/merkletree/merkle_tree_test.cc (kInputs, kSHA256Roots); the empty root is RFC 9162 section 2.1.1. */
START_TEST(published_roots)
{
    static const struct {
        const char *bytes;
        size_t length;
    } leaves[] = {
        {"", 0},
        {"\x00", 1},
        {"\x10", 1},
        {"\x20\x21", 2},
        {"\x30\x31", 2},
        {"\x40\x41\x42\x43", 4},
        {"\x50\x51\x52\x53\x54\x55\x56\x57", 8},
        {"\x60\x61\x62\x63\x64\x65\x66\x67\x68\x69\x6a\x6b\x6c\x6d\x6e\x6f", 16},
    };
    static const char *const roots[] = {
        "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855",
        "6e340b9cffb37a989ca544e6bb780a2c78901d3fb33738768511a30617afa01d",
        "fac54203e7cc696cf0dfcb42c92a1d9dbaf70ad9e621f4bd8d98662f00e3c125",
        "aeb6bcfe274b70a14fb067a5e5578264db0fa9b51af5e0ba159158f329e06e77",
        "d37ee418976dd95753c1c73862b9398fa2a2cf9b4ff0fdfe8b30cd95209614b7",
        "4e3bbb1f7b478dcfe71fb631631519a3bca12c9aefca1612bfce4c13a86264d4",
        "76e67dadbcdf1e10e1b74ddc608abd2f98dfb16fbce75277b5232a127f2087ef",
        "ddb89be403809e325750d3d263cd78929c2942b7942a34b77e122c9594a74c8c",
        "5dc9da79a70659a9ad559cb701ded9a2ab9d823aad2f4960cfe370eff4604328",
    };
    struct frontier frontier;
    frontier_init(&frontier);
    for (size_t size = 0;; size++) {
        struct sha256 root, leaf;
        frontier_root(&frontier, &root);
        assert_hex(&root, roots[size]);
        if (size == sizeof leaves / sizeof *leaves)
            break;
        merkle_leaf(leaves[size].bytes, leaves[size].length, &leaf);
        frontier_append(&frontier, &leaf);
    }
}
END_TEST

/* RFC 9162 section 2.1.1 word by word: split at the largest power of two smaller than the number of leaves.
 */
static struct sha256 naive_root(const struct sha256 *leaves, size_t count)
{
    struct sha256 root;
    if (count == 0) {
        sha256_of("", 0, &root);
        return root;
    }
    if (count == 1)
        return leaves[0];
    size_t split = 1;
    while (2 * split < count)
        split *= 2;
    const struct sha256 left = naive_root(leaves, split), right = naive_root(leaves + split, count - split);
    merkle_node(&left, &right, &root);
    return root;
}

START_TEST(roots_against_the_definition)
{
    struct sha256 leaves[LEAVES_MAX];
    struct frontier frontier;
    frontier_init(&frontier);
    for (uint32_t size = 0;; size++) {
        struct sha256 root;
        frontier_root(&frontier, &root);
        const struct sha256 expected = naive_root(leaves, size);
        assert_same(&root, &expected);
        ck_assert_uint_eq(frontier.leaves, size);
        if (size == LEAVES_MAX)
            break;
        leaves[size] = numbered_leaf(size);
        frontier_append(&frontier, &leaves[size]);
    }
}
END_TEST

/* At every size, the stored frontier has as many nodes as `leaves` has bits set, and it continues to the same
 * root. */
START_TEST(restored_frontier_goes_on)
{
    struct frontier frontier;
    frontier_init(&frontier);
    for (uint32_t size = 0; size <= LEAVES_MAX; size++) {
        size_t bits = 0;
        for (uint32_t rest = size; rest > 0; rest /= 2)
            bits += rest % 2;
        ck_assert_uint_eq(frontier_node_count(&frontier), bits);

        struct sha256 stored[FRONTIER_NODES_MAX];
        memcpy(stored, frontier.nodes, bits * SHA256_SIZE);
        struct frontier restored;
        memset(&restored, 0xee, sizeof restored);
        ck_assert(frontier_restore(&restored, size, bits > 0 ? stored : NULL, bits));

        const struct sha256 leaf = numbered_leaf(size);
        struct sha256 root, root_restored;
        frontier_append(&frontier, &leaf);
        frontier_append(&restored, &leaf);
        frontier_root(&frontier, &root);
        frontier_root(&restored, &root_restored);
        assert_same(&root_restored, &root);
    }
}
END_TEST

START_TEST(restore_refuses_what_does_not_fit)
{
    static const struct {
        uint64_t leaves;
        size_t node_count;
        bool fits;
    } cases[] = {
        {0, 0, true},
        {0, 1, false},
        {1, 0, false},
        {1, 1, true},
        {6, 2, true},
        {6, 1, false},
        {6, 3, false},
        {UINT64_MAX, 64, true},
        {UINT64_MAX, 63, false},
        {UINT64_MAX, 65, false},
        {7, 65, false},
        {UINT64_C(1) << 63, 1, true},
    };
    static const struct sha256 nodes[FRONTIER_NODES_MAX + 1];
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        struct frontier frontier;
        frontier_init(&frontier);
        const struct sha256 leaf = numbered_leaf(0);
        frontier_append(&frontier, &leaf);
        bool restored = frontier_restore(&frontier, cases[i].leaves, nodes, cases[i].node_count);
        ck_assert_msg(restored == cases[i].fits, "case %zu", i);
        ck_assert_uint_eq(frontier.leaves, restored ? cases[i].leaves : 1);
        assert_same(&frontier.nodes[0], restored ? &nodes[0] : &leaf);
    }
}
END_TEST

START_TEST(seal_is_the_hash_of_three_parts)
{
    static const char document[] = "{\"date\":\"2026-05-12\",\"scheme\":\"tern-bay\"}";
    const size_t length = sizeof document - 1;
    const struct sha256 previous = {{0}}, root = numbered_leaf(12);
    uint8_t joined[2 * SHA256_SIZE + sizeof document];
    memcpy(joined, previous.bytes, SHA256_SIZE);
    memcpy(joined + SHA256_SIZE, root.bytes, SHA256_SIZE);
    memcpy(joined + 2 * SHA256_SIZE, document, length);

    struct sha256 expected, seal;
    sha256_of(joined, 2 * SHA256_SIZE + length, &expected);
    seal_of(&previous, &root, document, length, &seal);
    assert_same(&seal, &expected);
    sha256_of(joined, 2 * SHA256_SIZE, &expected);
    seal_of(&previous, &root, "", 0, &seal);
    assert_same(&seal, &expected);
}
END_TEST

Suite *file_suite(void)
{
    TCase *cases = tcase_create("seal");
    tcase_add_test(cases, sha256_examples);
    tcase_add_test(cases, leaf_and_node_hashes);
    tcase_add_test(cases, node_over_its_children);
    tcase_add_test(cases, published_roots);
    tcase_add_test(cases, roots_against_the_definition);
    tcase_add_test(cases, restored_frontier_goes_on);
    tcase_add_test(cases, restore_refuses_what_does_not_fit);
    tcase_add_test(cases, seal_is_the_hash_of_three_parts);
    Suite *suite = suite_create("seal");
    suite_add_tcase(suite, cases);
    return suite;
}
