"""Films and photos in: what they are, frames with true time stamps, what ails them."""

from gait.clip.frames import Clip, Frame, read_frames
from gait.clip.info import ClipInfo, is_frame_folder, read_info

__all__ = ["Clip", "ClipInfo", "Frame", "is_frame_folder", "read_frames", "read_info"]
