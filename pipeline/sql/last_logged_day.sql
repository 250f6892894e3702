-- one value: the last day on which anything happened on file. Plans ahead and bench hours do not count.
select max(day) from (
    select max(played_on) as day from facts.matches
    union all select max(played_on) from facts.practices
    union all select max(strung_on) from facts.restrings
    union all select max(inspected_on) from facts.inspections
    union all select max(handed_in_on) from facts.jobs
    union all select max(state_on) from facts.jobs where state <> 'due'
)
