"""The schedule: where job, weather, physics and rules meet."""
