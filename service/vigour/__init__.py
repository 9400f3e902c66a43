"""The vigour of a block as files bring it: tables and rasters."""
