"""Contours and regions of straight and circular segments: measuring, offsetting, rounding, fitting."""
