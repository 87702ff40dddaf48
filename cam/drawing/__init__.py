"""DXF files to contours in millimetres; the only importer of ezdxf."""
