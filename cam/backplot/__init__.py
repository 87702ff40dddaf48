"""RS-274 text read back: interpreted, timed and swept, without any code of the generator."""
