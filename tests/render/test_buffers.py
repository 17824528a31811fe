"""Where arrays lie in memory must not decide which kernel is compiled."""

from __future__ import annotations

import numpy as np

from render.backend import init


def test_a_row_is_loaded_the_same_way_wherever_the_array_lies() -> None:
    """Gathers of rows by Dr.Jit, from arrays at every offset NumPy may choose: one kernel, and the right numbers."""
    init("auto")
    import drjit as dr
    import mitsuba as mi

    from render.kernel.buffers import _aligned, buffer, index_buffer

    room = np.arange(200, dtype=np.float32)
    wanted = dr.opaque(mi.UInt32, 3, 8)
    with dr.scoped_set_flag(dr.JitFlag.KernelHistory, True):
        dr.kernel_history_clear()
        kernels = []
        for start in range(0, 20, 3):
            values, whole = room[start : start + 64], room[start : start + 64].astype(np.uint32)
            assert _aligned(values).ctypes.data % 64 == 0
            row = dr.gather(mi.Vector4f, buffer(values), wanted)
            count = dr.gather(mi.Vector4u, index_buffer(whole), wanted)
            dr.eval(row, count)
            np.testing.assert_array_equal(np.array(row)[:, 0], values[12:16])
            np.testing.assert_array_equal(np.array(count)[:, 0], whole[12:16])
            kernels.append({k["hash"] for k in dr.kernel_history([dr.KernelType.JIT])})
    assert all(k == kernels[0] for k in kernels)
