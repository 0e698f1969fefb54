"""Many cases: swept, spread, compared, searched, kept in a store; no physics of their own."""
