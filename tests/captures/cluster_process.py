"""A scheduler or a worker of a cluster, in a process of its own; its address is its first line."""

import asyncio
import sys

import dask
from distributed import Scheduler, Worker

dask.config.set({"distributed.admin.system-monitor.gil.enabled": False})


async def run(address: str | None) -> None:
    """Serve until killed: a scheduler, or a worker of the scheduler at an address."""
    if address is None:
        part = Scheduler(host="127.0.0.1", port=0, dashboard=False)
    else:
        part = Worker(address, nthreads=1, host="127.0.0.1", dashboard=False)
    async with part:
        print(part.address, flush=True)
        await part.finished()


if __name__ == "__main__":
    asyncio.run(run(sys.argv[1] if len(sys.argv) > 1 else None))
