"""Results out: written beside their place, then put into it; nothing of others is touched."""

from mixcompare.outputs.files import check_file, is_one_of, real_path, write_file
from mixcompare.outputs.placing import former_place, has_working_folder, put_folder
from mixcompare.outputs.signals import heard_by, hearers
from mixcompare.outputs.workshop import cannot, taken_up, uninterrupted, workshop

__all__ = [
    "cannot",
    "check_file",
    "former_place",
    "has_working_folder",
    "heard_by",
    "hearers",
    "is_one_of",
    "put_folder",
    "real_path",
    "taken_up",
    "uninterrupted",
    "workshop",
    "write_file",
]
