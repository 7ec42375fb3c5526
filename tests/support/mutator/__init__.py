"""A seeded mutator: inputs of every kind, made wrong by a number, through parsers and whole commands.

An input is a kind and a number: the number chooses the seed file (seeds.py), what is done to it (mutations.py) and the
commands that are given it (kinds.py). One child process (child.py) takes one input after another: the commands run in
it, with their work in the same process; supervise.py watches it, so that a crash or a loop is charged to its input.

A fault is: an exception outside the error tree, exit code 4, a traceback or a library's warning on a terminal, page or in
the log, more than 10 s of CPU, no progress for 60 s or no end in 240 s, a wait that does not say what for, more than 1 GB of memory beside what the process had, its end, a
touched file outside the folders that were named; and of originals a plan that lacks the good clip beside it.

What failed is kept in a folder that the failure names. To run one again:

    PYTHONPATH=tests/support python -m mutator KIND NUMBER [--input FILE] [--keep FOLDER]

`FILE` is a mutated input as it was kept (seeds with times and random numbers in them differ from machine to machine).
To run many: `PYTHONPATH=tests/support python -m mutator KIND|all FIRST-LAST`.
"""
