/* SPDX-License-Identifier: ISC */
/* The main of all unit tests: runs the suite of the file that it is linked with. Check's environment decides
 * how much it prints (CK_VERBOSITY) and whether each test has a process of its own (CK_FORK). */
#include "suite.h"

#include <stdio.h>
#include <stdlib.h>

int main(void)
{
    SRunner *runner = srunner_create(file_suite());
    fflush(stdout); /* so that no forked test prints it again */
    srunner_run_all(runner, CK_ENV);
    int failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    return failed == 0 ? EXIT_SUCCESS : EXIT_FAILURE;
}
