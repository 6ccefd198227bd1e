"""The job record: what the crew wrote down, read and checked.

examine_job(path)   all that is wrong or doubtful, and the record where nothing is wrong
read_job(path)      the record, or an error that carries all findings
blank_record()      a commented record to fill in
job_schema()        the JSON Schema of the record as written
"""
