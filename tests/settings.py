"""The settings of a test run: the service's own, with data in a folder of this run alone.

The folder must be chosen before the service's settings are read, because the place of the
embedded PostgreSQL follows from it. The first process of a run makes it; the others, which
inherit the variable, share it, and with it the database server.
"""

import os
import tempfile

RUN_DIRECTORY_VARIABLE = "DUCT_FLOW_RECORD_TEST_RUN"

MADE_THE_RUN_DIRECTORY = RUN_DIRECTORY_VARIABLE not in os.environ
if MADE_THE_RUN_DIRECTORY:
    made = tempfile.mkdtemp(prefix="duct-flow-tests-")
    # As root another account runs PostgreSQL and must get through to its folder.
    os.chmod(made, 0o711)
    os.environ[RUN_DIRECTORY_VARIABLE] = made
    os.environ["DATA_DIR"] = made
RUN_DIRECTORY = os.environ[RUN_DIRECTORY_VARIABLE]

from config.settings import *

# Passwords in tests guard nothing, and the real hash takes a tenth of a second each.
PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]

# A test's server thread keeps no connection to a database that is about to be dropped.
DATABASES["default"]["CONN_MAX_AGE"] = 0
