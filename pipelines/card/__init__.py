"""The frame path on a graphics card: the same bits as the processor's."""
