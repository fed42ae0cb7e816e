"""Plain immutable types: conditions, vocabulary, rules, editions, assessments, decisions."""
