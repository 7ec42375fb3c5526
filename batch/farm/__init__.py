"""Workers: processes of this machine, or a Dask farm of machines."""
