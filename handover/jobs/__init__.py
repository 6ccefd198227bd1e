"""The job record: what the crew wrote down, read and checked.

examine_job(path) all faults and cautions, and the record if there is no fault
read_job(path)      the record, or an error that carries all findings
blank_record()      a commented record to fill in
job_schema()        the JSON Schema of the record as written
"""
