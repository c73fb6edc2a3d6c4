"""Single kernels of the physics as small questions with an answer, without a job."""
