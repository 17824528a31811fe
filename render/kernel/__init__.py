"""All Dr.Jit and Mitsuba code. Import only after `render.backend.init`."""
