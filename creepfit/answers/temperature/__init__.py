"""Questions about temperature: what warmth does, and answers for another temperature than the test's."""
