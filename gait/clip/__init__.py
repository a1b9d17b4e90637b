"""Films and photos in: what they are, frames with true time stamps, what ails them."""

from gait.clip.frames import Clip, Frame, read_frames
from gait.clip.info import ClipInfo, content_hash, is_frame_folder, read_info

__all__ = [
    "Clip",
    "ClipInfo",
    "Frame",
    "content_hash",
    "is_frame_folder",
    "read_frames",
    "read_info",
]
