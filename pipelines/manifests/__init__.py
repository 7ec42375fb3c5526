"""Hash manifests of originals (ASC MHL 2.0): read strictly, their chain, and verdicts on files that were found."""
