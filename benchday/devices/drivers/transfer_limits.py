"""How long a transfer on a line may wait for this and that; settings of every driver that carries files over one."""

from __future__ import annotations

from dataclasses import dataclass

from benchday.devices.xmodem import Limits as SenderLimits
from benchday.devices.xmodem_receiver import ReceiverLimits


@dataclass(frozen=True, slots=True, kw_only=True)
class TransferLimits:
    """Real seconds; none shrinks with a simulated day's speed. Sources stand in ``devices/xmodem.py``."""

    transfer_start_s: float = 60.0
    """For the unit to ask for an image, once it has agreed to take one."""
    transfer_answer_s: float = 4.0
    """For the answer to a block, before it is sent again."""
    transfer_next_s: float = 15.0
    """For the unit to ask for what follows in a batch."""
    transfer_end_s: float = 3.0
    """Between one end of a transfer and the next, where it is not acknowledged."""
    transfer_ask_s: float = 3.0
    """Between one request for the first block of a recording and the next."""
    transfer_block_s: float = 10.0
    """For the next block of a recording."""
    transfer_still_s: float = 180.0
    """Without a good block of a recording, whatever else is heard."""
    transfer_quiet_s: float = 1.0
    """For a damaged line to fall quiet, before a block is asked for again."""
    last_words_s: float = 1.0
    """For what a unit may still say of a transfer that was cut."""

    def sending(self) -> SenderLimits:
        """Return what of this a sender keeps."""
        return SenderLimits(
            start_us=_us(self.transfer_start_s),
            answer_us=_us(self.transfer_answer_s),
            end_us=_us(self.transfer_end_s),
            next_us=_us(self.transfer_next_s),
        )

    def receiving(self) -> ReceiverLimits:
        """Return what of this a receiver keeps."""
        return ReceiverLimits(
            start_us=_us(self.transfer_ask_s),
            block_us=_us(self.transfer_block_s),
            inside_us=_us(self.transfer_quiet_s),
            standstill_us=_us(self.transfer_still_s),
        )


def _us(seconds: float) -> int:
    return round(seconds * 1e6)
