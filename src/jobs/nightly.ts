/**
 * The nightly run as a job: every ten minutes the database is asked whether a date is due; once a date, whatever the
 * replicas, the restarts and the changes of the clock. A person may ask for it over HTTP, too, so it lives with its feature.
 */
export { datesDue, type NightCounts, type NightOptions, runNight, tickNightly } from '../features/nightly-runs/run.ts'
