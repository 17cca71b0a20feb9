"""The stepping loop allocates nothing, so no garbage collection can fall between steps."""

import os
import subprocess
import sys
import time
import unittest

from bench import CONTROLLER


class Memory(unittest.TestCase):
    def test_stepping_with_the_heap_locked(self):
        child = subprocess.Popen(
            [sys.executable, "-m", "micropython_unix", str(CONTROLLER / "tests" / "heap_locked.py")],
            env=dict(os.environ, MICROPYPATH=str(CONTROLLER)),
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
        )
        child.stdin.write(b"M173\n" * 12 + b"x" * 400 + b"\nG0 A")
        child.stdin.flush()
        told = b""
        while b"queued" not in told:
            line = child.stdout.readline()
            self.assertTrue(line, told.decode())
            told += line
        time.sleep(0.4)
        child.stdin.write(b"\x18")
        child.stdin.flush()
        told += child.communicate(timeout=30)[0]
        text = told.decode()
        self.assertEqual(child.returncode, 0, text)
        self.assertIn("queued 8 refused 5", text)
        self.assertIn("results [True, True, False]", text)
        self.assertIn("the lock works", text)
        self.assertIn("[turning a=-", text)
        self.assertNotIn("Traceback", text)


if __name__ == "__main__":
    unittest.main()
