"""Climate: from air, sun and snow to reference ET."""
