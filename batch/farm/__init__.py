"""Who works, and where: processes here or a Dask farm of machines."""
