# SPDX-License-Identifier: MIT
# Completion of tally for bash.  What may stand there is asked of tally itself
# (`tally complete`), which has it from its table of verbs and from the running daemon.

_tally()
{
	# Bash parts words at = and : too; tally wants them as they were typed.
	local line=${COMP_LINE:0:COMP_POINT} words=() i last=
	for ((i = 1; i <= COMP_CWORD; i++)); do
		local word=${COMP_WORDS[i]} apart=
		((i == COMP_CWORD)) && [[ $line != *"$word" ]] && word=
		line=${COMP_LINE:0:COMP_POINT}
		if ((${#words[@]})); then
			local before="${last}${word}"
			[[ ($word == [=:]* || $last == *[=:]) && $line == *"$before"* ]] || apart=1
		fi
		if ((${#words[@]} == 0)) || [[ $apart ]]; then
			words+=("$word")
		else
			words[-1]+=$word
		fi
		last=${words[-1]}
	done
	local cur=${words[-1]} quote=
	case $cur in
	[\"\']*) quote=${cur:0:1} cur=${cur:1} ;;
	*) cur=${cur//\\/} ;;
	esac
	words[-1]=$cur
	for ((i = 0; i < ${#words[@]} - 1; i++)); do
		case ${words[i]} in
		[\"\']*) words[i]=${words[i]:1} words[i]=${words[i]%[\"\']} ;;
		*) words[i]=${words[i]//\\/} ;;
		esac
	done

	# What stands before the last = or : is not replaced.
	local keep= tab=$'\t' text
	[[ ! $quote && $COMP_WORDBREAKS == *[=:]* && $cur == *[=:]* ]] && keep=${cur%"${cur##*[=:]}"}
	COMPREPLY=()
	while IFS= read -r text; do
		case $text in
		:files) compopt -o filenames; mapfile -t -O ${#COMPREPLY[@]} COMPREPLY < <(compgen -f -- "${cur#"$keep"}") ;;
		:folders) compopt -o filenames; mapfile -t -O ${#COMPREPLY[@]} COMPREPLY < <(compgen -d -- "${cur#"$keep"}") ;;
		?*)
			text=${text%%"$tab"*}
			[[ $text == *= ]] && compopt -o nospace
			text=${text#"$keep"}
			[[ $quote ]] || printf -v text %q "$text"
			COMPREPLY+=("$text")
			;;
		esac
	done < <("${COMP_WORDS[0]}" complete -- "${words[@]}" 2>/dev/null </dev/null)
}
complete -F _tally tally
