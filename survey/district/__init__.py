"""A district: a season of outings on many lakes, each outing worked by itself and each lake judged once."""
