"""The measured record as files for other programs: Parquet, partitioned by site and year."""
