"""The face: layout file, command line, pictures and the test plug-in. The one place that joins the others."""

__version__ = "0.1.0"
