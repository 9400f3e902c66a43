"""Pictures of a region: where its blocks lie and how they stand, and how many were open when."""
