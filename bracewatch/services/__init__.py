"""Use cases, one verb each. They own the transactions: a service leaves without a trace unless it ends well."""
