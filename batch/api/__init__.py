"""The Python API: one function a command, with the command's options; results are values, and nothing is printed.

Scripts write `import rushlight`, which is the folder `rushlight` in here; the command line imports these modules."""
